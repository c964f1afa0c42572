// The body in three dimensions: meshes, tape lines as tubes, numbered places. It draws only when something
// changed, knows nothing of the page around it, and leaves all picking to the server: it sends rays.
import { THREE, OrbitControls } from 'nicegui-scene';
import { disc, dropDisc, sizeDisc } from './discs.js';
import { pressKey } from './keys.js';
import { Pointer } from './pointer.js';
import { tubeGeometry, tubeMaterial } from './tubes.js';

const FOV_DEG = 30;
const LINE_HALF_PX = { plain: 1.6, marked: 3.2, preview: 1.8 };
const LOOKS = { // from where each look sees the wearer, who faces -y
  front: [0, -1, 0.08], back: [0, 1, 0.08], left: [1, 0, 0.08], right: [-1, 0, 0.08], top: [0, -0.01, 1],
};

export class BodyView {
  /**
   * `options`: label (the canvas' accessible name), colours ({marked, preview, ...}), and what is told to:
   * onPick(ray), onHover(ray or null), onDrag({...ray, place, phase}), onKey(word).
   */
  constructor(element, options) {
    this.element = element;
    this.options = options;
    this.frames = 0;
    this.meshes = new Map();
    this.lines = new Map();
    this.discs = new Map();
    this.marked = new Set();
    this.rests = null; // where the pointer was last without a button down
    this.awaiting = false; // a hover that the server has not answered
    this.queued = undefined;
    this.shared = { mmPerPxAtOne: { value: 1 } };
    this.renderer = new THREE.WebGLRenderer({ antialias: true, alpha: true });
    this.canvas = this.renderer.domElement;
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute('role', 'application');
    this.canvas.setAttribute('aria-label', options.label);
    this.canvas.classList.add('fk-view-canvas');
    element.append(this.canvas);
    this.scene = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(FOV_DEG, 1, 10, 20000);
    this.camera.up.set(0, 0, 1);
    const lamp = new THREE.DirectionalLight(0xffffff, 2.2);
    lamp.position.set(-0.5, 0.8, 1); // over the maker's shoulder, whichever side the body shows
    this.camera.add(lamp, lamp.target);
    lamp.target.position.set(0, 0, -1);
    this.scene.add(this.camera, new THREE.HemisphereLight(0xffffff, 0x9a9892, 2.0));
    this.cursor = this.ring();
    this.pointer = new Pointer(this.canvas, this.pointerHooks()); // before the controls, to hold them off
    this.controls = new OrbitControls(this.camera, this.canvas);
    this.controls.zoomToCursor = true;
    this.controls.rotateSpeed = 0.8;
    this.controls.addEventListener('change', () => { this.rememberCamera(); this.invalidate(); });
    this.canvas.addEventListener('keydown', (event) => {
      if (pressKey(event, this.keyHooks())) event.preventDefault();
    });
    this.canvas.addEventListener('contextmenu', (event) => event.preventDefault());
    this.canvas.addEventListener('webglcontextrestored', () => this.invalidate());
    this.sizes = new ResizeObserver(() => this.resize());
    this.sizes.observe(element);
    this.placed = this.recallCamera();
    this.unsure = this.placed; // what is remembered may be of another job's body
    this.resize();
  }

  dispose() {
    this.sizes.disconnect();
    this.controls.dispose();
    for (const name of [...this.meshes.keys()]) this.dropMesh(name);
    for (const name of [...this.lines.keys()]) this.dropLine(name);
    for (const name of [...this.discs.keys()]) this.dropDisc(name);
    this.renderer.dispose();
    this.canvas.remove();
  }

  // -- drawing ---------------------------------------------------------------------------------

  invalidate() {
    if (this.frame) return;
    this.frame = requestAnimationFrame(() => {
      this.frame = 0;
      this.frames += 1;
      for (const { sprite, faces } of this.discs.values()) {
        // A name on the far side of the body must not show round its edge.
        if (faces) sprite.visible = faces.dot(sprite.position.clone().sub(this.camera.position)) < 0;
      }
      this.renderer.render(this.scene, this.camera);
    });
  }

  resize() {
    const wide = this.element.clientWidth || 1;
    const high = this.element.clientHeight || 1;
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    this.renderer.setSize(wide, high);
    this.camera.aspect = wide / high;
    this.camera.updateProjectionMatrix();
    this.shared.mmPerPxAtOne.value = (2 * Math.tan(THREE.MathUtils.degToRad(FOV_DEG / 2))) / high;
    for (const { sprite } of this.discs.values()) sizeDisc(sprite, this.shared.mmPerPxAtOne.value);
    if (this.placed === false) this.look('all');
    this.askAgain();
    this.invalidate();
  }

  // -- what is shown ---------------------------------------------------------------------------

  /** Show a mesh, or show it otherwise; its triangles are fetched only when `url` is another. */
  async putMesh({ name, url, colours, colour, opacity = 1, lift = 0 }) {
    let row = this.meshes.get(name);
    if (!row || row.url !== url) {
      const token = {};
      this.meshes.set(name, { ...row, url, token });
      const geometry = await this.fetchGeometry(url);
      if (this.meshes.get(name)?.token !== token) return geometry.dispose(); // another came meanwhile
      if (row?.mesh) this.discard(row.mesh);
      const mesh = new THREE.Mesh(geometry, new THREE.MeshStandardMaterial({ roughness: 0.9, metalness: 0 }));
      this.scene.add(mesh);
      row = { url, mesh };
      this.meshes.set(name, row);
    }
    const { mesh } = row;
    if (!mesh) return;
    Object.assign(row, { colour, opacity, lift });
    if (colours !== row.colours) {
      const bytes = colours ? new Uint8Array(await (await fetched(colours)).arrayBuffer()) : null;
      if (bytes) mesh.geometry.setAttribute('color', new THREE.BufferAttribute(bytes, 3, true));
      row.colours = colours;
    }
    const { material } = mesh;
    material.vertexColors = Boolean(colours);
    material.transparent = opacity < 1;
    material.opacity = opacity;
    material.depthWrite = opacity === 1;
    material.polygonOffset = lift !== 0;
    material.polygonOffsetFactor = -lift;
    material.polygonOffsetUnits = -4 * lift;
    mesh.renderOrder = opacity < 1 ? 2 : 0;
    material.needsUpdate = true;
    this.paintMesh(name);
    if (this.placed === false || this.loses(mesh)) this.look('all');
    this.askAgain();
    this.invalidate();
  }

  /** Whether a remembered camera looks past the first mesh that comes. */
  loses(mesh) {
    if (!this.unsure) return false;
    this.unsure = false;
    const ball = new THREE.Box3().setFromObject(mesh).getBoundingSphere(new THREE.Sphere());
    return ball.distanceToPoint(this.controls.target) > 0.5 * ball.radius;
  }

  dropMesh(name) {
    const row = this.meshes.get(name);
    this.meshes.delete(name);
    if (row?.mesh) this.discard(row.mesh);
    this.invalidate();
  }

  /** Show a line; `points` is flat x, y, z in mm. */
  putLine({ name, points, closed = false, colour = '#141414', preview = false }) {
    this.dropLine(name);
    const half = preview ? LINE_HALF_PX.preview : LINE_HALF_PX.plain;
    const mesh = new THREE.Mesh(tubeGeometry(points, closed), tubeMaterial(colour, half, this.shared));
    mesh.frustumCulled = false; // its true width is known to the graphics card alone
    this.scene.add(mesh);
    this.lines.set(name, { mesh, colour, preview, closed, points: points.length / 3 });
    this.paintLine(name);
    this.invalidate();
  }

  dropLine(name) {
    const row = this.lines.get(name);
    this.lines.delete(name);
    if (row) this.discard(row.mesh);
    this.invalidate();
  }

  /** Show a numbered place or the name of a part; with `faces` only from where that side of the body is seen. */
  putDisc({ name, at, text = '', fill = '#ffffff', ink = '#141414', sizePx = 24, hold = false, faces = null, over = false }) {
    this.dropDisc(name);
    const sprite = disc({ text, fill, ink, sizePx, over }, window.devicePixelRatio || 1);
    sprite.position.set(...at);
    sprite.renderOrder = over ? 5 : hold ? 4 : 3; // a place to be dragged lies on a part's number, not under it
    sizeDisc(sprite, this.shared.mmPerPxAtOne.value);
    this.scene.add(sprite);
    this.discs.set(name, { sprite, hold, text, faces: faces && new THREE.Vector3(...faces) });
    this.invalidate();
  }

  dropDisc(name) {
    const row = this.discs.get(name);
    this.discs.delete(name);
    if (row) { this.scene.remove(row.sprite); dropDisc(row.sprite); }
    this.invalidate();
  }

  /** Light up meshes and lines by name; all others go back to their own colours. */
  mark(names) {
    this.marked = new Set(names);
    for (const name of this.meshes.keys()) this.paintMesh(name);
    for (const name of this.lines.keys()) this.paintLine(name);
    this.invalidate();
  }

  /** The server's answer to a hover: where it hit, `null` beside the body. */
  hovered(hit) {
    this.cursor.visible = Boolean(hit);
    if (hit) {
      this.cursor.position.set(...hit.at);
      this.canvas.style.cursor = hit.kind === 'body' ? 'crosshair' : 'pointer';
    } else {
      this.canvas.style.cursor = 'grab';
    }
    this.invalidate();
    this.answered();
  }

  // -- the camera ------------------------------------------------------------------------------

  /** Look from a side, or with 'all' from where one looks, so that everything is in the picture. */
  look(name) {
    const box = new THREE.Box3();
    for (const { mesh } of this.meshes.values()) if (mesh) box.expandByObject(mesh);
    if (box.isEmpty()) return;
    const middle = box.getCenter(new THREE.Vector3());
    const size = box.getSize(new THREE.Vector3());
    const from = LOOKS[name] ? new THREE.Vector3(...LOOKS[name])
      : this.placed ? this.camera.position.clone().sub(this.controls.target) : new THREE.Vector3(...LOOKS.front);
    const half = 0.5 * Math.max(size.z, Math.hypot(size.x, size.y) / this.camera.aspect);
    const away = (1.1 * half) / Math.tan(THREE.MathUtils.degToRad(FOV_DEG / 2)) + 0.5 * Math.min(size.x, size.y);
    this.camera.position.copy(middle).addScaledVector(from.normalize(), away);
    this.controls.target.copy(middle);
    this.placed = true;
    this.moveCamera();
  }

  moveCamera() {
    this.controls.update();
    this.rememberCamera();
    this.invalidate();
  }

  rememberCamera() {
    if (!this.placed) return;
    const kept = [...this.camera.position.toArray(), ...this.controls.target.toArray()];
    sessionStorage.setItem(`view ${this.options.label}`, JSON.stringify(kept));
  }

  recallCamera() {
    const kept = JSON.parse(sessionStorage.getItem(`view ${this.options.label}`) || 'null');
    if (!kept) return false;
    this.camera.position.fromArray(kept, 0);
    this.controls.target.fromArray(kept, 3);
    this.controls.update();
    return true;
  }

  // -- asking the server -----------------------------------------------------------------------

  /** The ray under a place of the canvas, and how wide a pixel is along it. */
  ray(x, y) {
    const at = new THREE.Vector2((2 * x) / this.canvas.clientWidth - 1, 1 - (2 * y) / this.canvas.clientHeight);
    const caster = new THREE.Raycaster();
    this.camera.updateMatrixWorld();
    caster.setFromCamera(at, this.camera);
    return {
      origin: caster.ray.origin.toArray(), direction: caster.ray.direction.toArray(),
      mmPerPxAtOne: this.shared.mmPerPxAtOne.value,
    };
  }

  /** One question at a time; of those that come meanwhile the last is asked next. */
  ask(question) {
    if (this.awaiting) { this.queued = question; return; }
    this.awaiting = true;
    clearTimeout(this.patience);
    this.patience = setTimeout(() => this.answered(), 2000);
    question();
  }

  /** Ask again what is under a pointer that rests where something else has come to lie. */
  askAgain() {
    if (!this.rests) return;
    const { x, y } = this.canvas.getBoundingClientRect();
    const [right, down] = this.rests;
    this.ask(() => this.options.onHover(this.ray(right - x, down - y)));
  }

  answered() {
    clearTimeout(this.patience);
    this.awaiting = false;
    const next = this.queued;
    this.queued = undefined;
    if (next) this.ask(next);
  }

  pointerHooks() {
    return {
      grab: (x, y, reachPx) => this.discAt(x, y, reachPx),
      hold: (on) => { this.controls.enabled = !on; },
      click: (x, y, event) => {
        this.queued = undefined;
        this.options.onPick({ ...this.ray(x, y), touch: event.pointerType === 'touch', more: event.shiftKey });
      },
      hover: (x, y, event) => {
        this.rests = event ? [event.clientX, event.clientY] : null;
        if (x === null) this.queued = undefined;
        if (x === null) this.cursor.visible = false;
        this.ask(() => this.options.onHover(x === null ? null : this.ray(x, y)));
        this.invalidate();
      },
      drag: (place, x, y, phase) => {
        const told = { ...this.ray(x, y), place, phase };
        if (phase === 'move') this.ask(() => this.options.onDrag(told));
        else { this.queued = undefined; this.options.onDrag(told); }
      },
    };
  }

  keyHooks() {
    const target = this.controls.target;
    const arm = () => this.camera.position.clone().sub(target);
    const place = (from) => { this.camera.position.copy(target).add(from); this.moveCamera(); };
    return {
      turn: (about, over) => {
        const round = new THREE.Spherical().setFromVector3(turnedUp(arm()));
        round.theta += about;
        round.phi = Math.min(Math.max(round.phi + over, 0.05), Math.PI - 0.05);
        place(turnedBack(new THREE.Vector3().setFromSpherical(round)));
      },
      shift: (across, up) => {
        const high = this.shared.mmPerPxAtOne.value * this.canvas.clientHeight * arm().length();
        const by = new THREE.Vector3(across * high, up * high, 0).applyQuaternion(this.camera.quaternion);
        const from = arm();
        target.add(by);
        place(from);
      },
      nearer: (factor) => place(arm().multiplyScalar(factor)),
      look: (name) => this.look(name),
      tell: (word) => this.options.onKey(word),
      click: () => this.options.onPick({
        ...this.ray(this.canvas.clientWidth / 2, this.canvas.clientHeight / 2), touch: false, more: false,
      }),
    };
  }

  /** The place that can be taken hold of at a spot of the canvas, if the body does not hide it. */
  discAt(x, y, reachPx) {
    let best = null;
    let nearest = reachPx;
    for (const [name, { sprite, hold }] of this.discs) {
      if (!hold) continue;
      const [px, py] = this.project(sprite.position);
      const off = Math.hypot(px - x, py - y);
      if (off < nearest) { nearest = off; best = name; }
    }
    if (best === null) return null;
    const to = this.discs.get(best).sprite.position;
    const caster = new THREE.Raycaster(this.camera.position, to.clone().sub(this.camera.position).normalize());
    caster.far = this.camera.position.distanceTo(to) - 15;
    const solid = [...this.meshes.values()].filter((row) => row.mesh && row.opacity === 1).map((row) => row.mesh);
    return caster.intersectObjects(solid, false).length ? null : best;
  }

  /** Where a point in space is on the canvas, in CSS pixels. */
  project(point) {
    this.camera.updateMatrixWorld();
    const at = (Array.isArray(point) ? new THREE.Vector3(...point) : point.clone()).project(this.camera);
    return [((at.x + 1) / 2) * this.canvas.clientWidth, ((1 - at.y) / 2) * this.canvas.clientHeight];
  }

  /** What is shown, as plain values. */
  state() {
    return {
      meshes: Object.fromEntries([...this.meshes].map(([name, row]) => [name, {
        triangles: row.mesh ? row.mesh.geometry.index.count / 3 : 0, opacity: row.opacity, colours: Boolean(row.colours),
      }])),
      lines: Object.fromEntries([...this.lines].map(([name, { points, closed, preview }]) => [name, { points, closed, preview }])),
      discs: Object.fromEntries([...this.discs].map(([name, { text, hold, sprite }]) => [name, { text, hold, at: sprite.position.toArray() }])),
      marked: [...this.marked], cursor: this.cursor.visible ? this.cursor.position.toArray() : null,
      frames: this.frames, eye: this.camera.position.toArray(), pixelRatio: this.renderer.getPixelRatio(),
    };
  }

  // -- inside ----------------------------------------------------------------------------------

  async fetchGeometry(url) {
    const bytes = await (await fetched(url)).arrayBuffer();
    const [vertices, faces] = new Uint32Array(bytes, 0, 2);
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute('position', new THREE.BufferAttribute(new Float32Array(bytes, 8, 3 * vertices), 3));
    geometry.setIndex(new THREE.BufferAttribute(new Uint32Array(bytes, 8 + 12 * vertices, 3 * faces), 1));
    geometry.computeVertexNormals();
    return geometry;
  }

  paintMesh(name) {
    const { mesh, colours, colour, opacity } = this.meshes.get(name);
    if (!mesh) return;
    const lit = this.marked.has(name);
    mesh.material.color.set(colours ? '#ffffff' : lit ? this.options.colours.marked : colour);
    mesh.material.emissive.set(lit && colours ? '#333333' : '#000000');
    mesh.material.opacity = lit && opacity < 1 ? Math.min(1, opacity + 0.25) : opacity;
  }

  paintLine(name) {
    const { mesh, colour, preview } = this.lines.get(name);
    const lit = this.marked.has(name);
    mesh.material.color.set(lit ? this.options.colours.markedLine : colour);
    mesh.material.userData.halfWidthPx.value = lit ? LINE_HALF_PX.marked : preview ? LINE_HALF_PX.preview : LINE_HALF_PX.plain;
    mesh.renderOrder = lit ? 1 : 0;
  }

  ring() {
    const sprite = disc({ text: '', fill: 'rgba(255,255,255,0.35)', ink: '#0b6e4f', sizePx: 18 }, 2);
    sprite.visible = false;
    sprite.renderOrder = 4;
    sizeDisc(sprite, this.shared.mmPerPxAtOne.value);
    this.scene.add(sprite);
    this.discs.set('\tcursor', { sprite, hold: false, text: '' });
    return sprite;
  }

  discard(mesh) {
    this.scene.remove(mesh);
    mesh.geometry.dispose();
    mesh.material.dispose();
  }
}

async function fetched(url) {
  const answer = await fetch(url);
  if (!answer.ok) throw new Error(`${url}: ${answer.status}`);
  return answer;
}

// Spherical coordinates of the library stand on y, the wearer on z.
const turnedUp = (v) => new THREE.Vector3(v.y, v.z, v.x);
const turnedBack = (v) => new THREE.Vector3(v.z, v.x, v.y);
