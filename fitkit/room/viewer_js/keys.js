// The keyboard: the body is turned under a crosshair in the middle of the view, Enter clicks there.

const TURN_RAD = Math.PI / 24;
const NEARER = 0.85;
const SHIFT = 0.06; // of the view's height
const LOOKS = { f: 'front', b: 'back', l: 'left', r: 'right', t: 'top', 0: 'all' };
const STEPS = { z: 'undo', y: 'redo' };
const TOLD = { Escape: 'stop', Delete: 'remove', Backspace: 'remove' };
const TURNS = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

/**
 * Do what a key says.
 *
 * `hooks`: turn(aboutRad, overRad), shift(acrossShare, upShare), nearer(factor), look(name), click(), tell(word).
 * Returns whether the key was one of ours.
 */
export function pressKey(event, hooks) {
  if (event.altKey) return false;
  if (event.ctrlKey || event.metaKey) {
    const step = STEPS[event.key.toLowerCase()];
    if (step) hooks.tell(event.shiftKey ? 'redo' : step);
    return Boolean(step);
  }
  const turn = TURNS[event.key];
  if (turn && event.shiftKey) hooks.shift(SHIFT * turn[0], -SHIFT * turn[1]);
  else if (turn) hooks.turn(TURN_RAD * turn[0], TURN_RAD * turn[1]);
  else if (event.key === '+' || event.key === '=') hooks.nearer(NEARER);
  else if (event.key === '-') hooks.nearer(1 / NEARER);
  else if (event.key === 'Enter' || event.key === ' ') hooks.click();
  else if (TOLD[event.key]) hooks.tell(TOLD[event.key]);
  else if (LOOKS[event.key.toLowerCase()]) hooks.look(LOOKS[event.key.toLowerCase()]);
  else return false;
  return true;
}
