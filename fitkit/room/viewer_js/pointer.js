// Mouse, touch and pen: what is a click, what is turning the body, what is dragging a place.

const SLACK_PX = { mouse: 4, pen: 8, touch: 12 };
const REACH_PX = { mouse: 14, pen: 18, touch: 26 };

/**
 * Watches a canvas.
 *
 * `hooks`: grab(x, y, reachPx) -> id or null, hold(on), click(x, y, event), hover(x, y, event) or hover(null),
 * drag(id, x, y, phase) with phase 'start', 'move', 'end' or 'cancel'.
 */
export class Pointer {
  constructor(canvas, hooks) {
    this.hooks = hooks;
    this.down = new Map(); // fingers and buttons on the canvas
    this.still = null; // a press that may yet become a click
    this.dragged = null;
    const on = (name, work) => canvas.addEventListener(name, work, { capture: true });
    on('pointerdown', (event) => this.pressed(event));
    on('pointermove', (event) => this.moved(event));
    on('pointerup', (event) => this.lifted(event));
    on('pointercancel', (event) => this.gone(event));
    on('pointerleave', () => hooks.hover(null));
  }

  pressed(event) {
    this.down.set(event.pointerId, event);
    const alone = this.down.size === 1 && event.button === 0;
    if (!alone) {
      // A second finger: they zoom or shift, whatever the first was about.
      this.still = null;
      if (this.dragged) this.finish('cancel', event);
      return;
    }
    const place = this.hooks.grab(event.offsetX, event.offsetY, REACH_PX[event.pointerType] || 14);
    this.still = { id: event.pointerId, x: event.clientX, y: event.clientY, place };
    if (place !== null) this.hooks.hold(true);
  }

  moved(event) {
    const still = this.still;
    if (this.dragged) {
      if (event.pointerId === this.dragged.id) this.hooks.drag(this.dragged.place, event.offsetX, event.offsetY, 'move');
      return;
    }
    if (still && still.id === event.pointerId) {
      const slack = SLACK_PX[event.pointerType] || 4;
      if (Math.hypot(event.clientX - still.x, event.clientY - still.y) > slack) {
        this.still = null;
        if (still.place !== null) {
          this.dragged = { id: event.pointerId, place: still.place };
          this.hooks.drag(still.place, event.offsetX, event.offsetY, 'start');
        }
      }
      return;
    }
    if (event.pointerType !== 'touch' && this.down.size === 0) this.hooks.hover(event.offsetX, event.offsetY, event);
  }

  lifted(event) {
    this.down.delete(event.pointerId);
    if (this.dragged && this.dragged.id === event.pointerId) {
      this.finish('end', event);
    } else if (this.still && this.still.id === event.pointerId) {
      this.still = null;
      this.hooks.hold(false);
      this.hooks.click(event.offsetX, event.offsetY, event);
    }
  }

  gone(event) {
    this.down.delete(event.pointerId);
    this.still = null;
    if (this.dragged && this.dragged.id === event.pointerId) this.finish('cancel', event);
    this.hooks.hold(false);
  }

  finish(phase, event) {
    const { place } = this.dragged;
    this.dragged = null;
    this.hooks.hold(false);
    this.hooks.drag(place, event.offsetX, event.offsetY, phase);
  }
}
