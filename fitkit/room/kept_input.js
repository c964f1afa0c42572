// A field that keeps what is being typed or slid, whatever else changes on the page meanwhile.
export default {
  props: {
    value: [String, Number, Boolean], shown: Number, kind: String, options: Array, lowest: Number, highest: Number,
    step: Number,
  },
  data() { return { now: this.value, begun: false }; },
  watch: { shown() { if (!this.begun) this.now = this.value; } }, // what is half typed is left alone
  methods: { keep() { this.begun = false; this.$emit('keep', this.now); } },
  template: `
    <select v-if="kind === 'choice'" class="fk-input" v-model="now" @change="keep">
      <option v-for="[value, words] in options" :key="value" :value="value">{{ words }}</option>
    </select>
    <input v-else-if="kind === 'tick'" class="fk-tick" type="checkbox" v-model="now" @change="keep">
    <input v-else-if="kind === 'slide'" class="fk-slide" type="range" v-model.number="now" :min="lowest" :max="highest"
      :step="step" @input="$emit('slid', now)" @change="keep">
    <input v-else class="fk-input" type="text" autocomplete="off" v-model="now" @input="begun = true" @change="keep">`,
};
