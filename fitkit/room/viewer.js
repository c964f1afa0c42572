// The view as a component of the page: passes calls in and events out, and nothing more.
import { BodyView } from 'fitkit-viewer';

export default {
  template: '<div class="fk-view"></div>',
  props: { label: String, colours: Object },
  mounted() {
    const told = (name) => (value) => this.$emit(name, value);
    const element = this.$el;
    try {
      this.view = new BodyView(element, {
        label: this.label, colours: this.colours,
        onPick: told('pick'), onHover: told('hover'), onDrag: told('drag'), onKey: told('key'),
      });
    } catch (error) {
      element.dataset.state = 'failed';
      element.textContent = 'This browser cannot draw in three dimensions. Use another browser, or type places as numbers.';
      return;
    }
    element.view = this.view;
    element.dataset.state = 'ready';
    this.$emit('ready');
  },
  beforeUnmount() { this.view?.dispose(); },
  methods: {
    /** Do several calls in order: [[name, argument], ...]. */
    async run(calls) {
      for (const [name, argument] of calls) {
        try { await this.view?.[name](argument); } catch (error) { this.$emit('fault', String(error)); }
      }
    },
  },
};
