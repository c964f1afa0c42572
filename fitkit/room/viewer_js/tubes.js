// Lines as tubes that keep their width on the screen, however near the body is.
import { THREE } from 'nicegui-scene';

const SIDES = 6;
const LIFT_MM = 1.5; // towards the eye, so that the surface does not swallow half of a tube

/** Rings of a tube about a polyline: positions are its middle, normals point to its wall. */
export function tubeGeometry(points, closed) {
  const path = [];
  for (let i = 0; i < points.length; i += 3) {
    const point = new THREE.Vector3(points[i], points[i + 1], points[i + 2]);
    if (!path.length || point.distanceToSquared(path[path.length - 1]) > 1e-6) path.push(point);
  }
  if (closed) path.push(path[0].clone());
  const count = path.length;
  const middles = new Float32Array(count * SIDES * 3);
  const walls = new Float32Array(count * SIDES * 3);
  const index = [];
  const along = new THREE.Vector3();
  const across = new THREE.Vector3();
  const up = new THREE.Vector3();
  for (let i = 0; i < count; i++) {
    const before = path[i > 0 ? i - 1 : closed ? count - 2 : 0];
    const after = path[i < count - 1 ? i + 1 : closed ? 1 : count - 1];
    along.subVectors(after, before).normalize();
    // The frame is carried along, so that the tube does not twist.
    if (i === 0) across.set(Math.abs(along.z) < 0.9 ? 0 : 1, 0, Math.abs(along.z) < 0.9 ? 1 : 0);
    across.addScaledVector(along, -across.dot(along)).normalize();
    up.crossVectors(along, across);
    for (let side = 0; side < SIDES; side++) {
      const turn = (2 * Math.PI * side) / SIDES;
      const at = 3 * (i * SIDES + side);
      const x = Math.cos(turn);
      const y = Math.sin(turn);
      path[i].toArray(middles, at);
      walls[at] = across.x * x + up.x * y;
      walls[at + 1] = across.y * x + up.y * y;
      walls[at + 2] = across.z * x + up.z * y;
      if (i > 0) {
        const here = i * SIDES + side;
        const next = i * SIDES + ((side + 1) % SIDES);
        index.push(here - SIDES, next - SIDES, here, next - SIDES, next, here);
      }
    }
  }
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute('position', new THREE.BufferAttribute(middles, 3));
  geometry.setAttribute('normal', new THREE.BufferAttribute(walls, 3));
  geometry.setIndex(index);
  return geometry;
}

/** Let a material stand off the surface and, for tubes, swell to a width in pixels. */
export function onScreen(material, uniforms, { swells }) {
  material.onBeforeCompile = (shader) => {
    Object.assign(shader.uniforms, uniforms);
    const swell = swells
      ? `vec4 middle = modelViewMatrix * vec4(transformed, 1.0);
         transformed += normal * halfWidthPx * mmPerPxAtOne * -middle.z;`
      : '';
    shader.vertexShader = shader.vertexShader
      .replace('#include <common>', `#include <common>
         uniform float halfWidthPx; uniform float mmPerPxAtOne;`)
      .replace('#include <begin_vertex>', `#include <begin_vertex>\n${swell}`)
      .replace('#include <project_vertex>', `#include <project_vertex>
         mvPosition.xyz *= 1.0 - ${LIFT_MM.toFixed(1)} / length(mvPosition.xyz);
         gl_Position = projectionMatrix * mvPosition;`);
  };
  material.customProgramCacheKey = () => `on screen ${swells}`;
  return material;
}

/** A tube's material; `shared.mmPerPxAtOne` follows the window. */
export function tubeMaterial(colour, halfWidthPx, shared) {
  const material = new THREE.MeshBasicMaterial({ color: colour });
  const width = { value: halfWidthPx };
  material.userData.halfWidthPx = width;
  const uniforms = { halfWidthPx: width, mmPerPxAtOne: shared.mmPerPxAtOne };
  return onScreen(material, uniforms, { swells: true });
}
