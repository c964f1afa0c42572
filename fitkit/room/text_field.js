// A field that keeps what is being typed whatever else on the page changes, and tells it once it is left.
export default {
  template: `<input class="fk-input" type="text" autocomplete="off" :value="text" @input="text = $event.target.value" @change="$emit('keep', text)">`,
  props: { value: String },
  data() { return { text: this.value }; },
  watch: { value(now) { this.text = now; } },
  methods: { show(now) { this.text = now; } },
};
