// One sheet with the parts on it. A part is dragged, or moved by the arrow keys and turned with R; where it was
// let go is told, and the server has the say.
export default {
  template: `
    <svg class="fk-sheet" :viewBox="view" role="group" :aria-label="sheet.title" @pointermove="drag" @pointerup="drop" @pointercancel="cancel">
      <polygon :points="points(sheet.outline)" class="fk-sheet-edge" />
      <polygon v-for="zone in sheet.bad" :points="points(zone)" class="fk-sheet-bad" />
      <g v-for="part in sheet.parts" :key="part.title" tabindex="0" role="button" class="fk-sheet-part"
         :class="{'fk-pinned': part.pinned, 'fk-held': held?.part === part}" :aria-label="spoken(part)"
         :transform="held?.part === part ? 'translate(' + held.by[0] + ' ' + -held.by[1] + ')' : null"
         @pointerdown="hold($event, part)" @keydown="key($event, part)">
        <polygon :points="points(part.outline)" />
        <text :x="part.middle[0]" :y="-part.middle[1]" :font-size="Math.min(letter, Math.max(1.4 * part.room, 0.5 * letter))">{{ part.number }}</text>
      </g>
    </svg>`,
  props: { sheet: Object },
  data() { return { held: null }; },
  computed: {
    view() { const [w, h] = this.sheet.size; return `${-0.01 * w} ${-1.01 * h} ${1.02 * w} ${1.02 * h}`; },
    letter() { return Math.max(...this.sheet.size) / 28; },
  },
  methods: {
    points(outline) { return outline.map(([x, y]) => `${x},${-y}`).join(" "); },
    spoken(part) { return `${part.number} ${part.title}${part.pinned ? ", pinned" : ""}`; },
    at(event) { const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.$el.getScreenCTM().inverse()); return [p.x, -p.y]; },
    hold(event, part) { event.currentTarget.setPointerCapture?.(event.pointerId); this.held = { part, from: this.at(event), by: [0, 0] }; },
    drag(event) { if (this.held) { const [x, y] = this.at(event); this.held.by = [x - this.held.from[0], y - this.held.from[1]]; } },
    drop() { const held = this.held; this.held = null; if (held && Math.hypot(...held.by) > 1) this.move(held.part, held.by, 0); },
    cancel() { this.held = null; },
    move(part, by, turn) { this.$emit("moved", { part: part.title, by, turn }); },
    key(event, part) {
      const step = event.shiftKey ? 1 : 10;
      const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[event.key];
      if (by) this.move(part, by, 0); else if (event.key === "r" || event.key === "R") this.move(part, [0, 0], event.shiftKey ? -15 : 15); else return;
      event.preventDefault();
    },
  },
};
