// Numbered discs: places that can be taken hold of, and names of parts. They keep their size on the screen.
import { THREE } from 'nicegui-scene';

const LIFT_MM = 30; // towards the eye, so that a disc on a slope is whole

/** A disc or a label as a sprite; `look` is {text, fill, ink, sizePx, over}; `over` shows through what is before it. */
export function disc(look, pixelRatio) {
  const scale = Math.max(2, pixelRatio);
  const canvas = document.createElement('canvas');
  const pen = canvas.getContext('2d');
  const font = `600 ${0.5 * look.sizePx * scale}px system-ui, sans-serif`;
  pen.font = font;
  const textPx = look.text ? pen.measureText(look.text).width : 0;
  const high = look.sizePx * scale;
  const wide = Math.max(high, textPx + 0.5 * high);
  canvas.width = Math.ceil(wide);
  canvas.height = Math.ceil(high);
  const edge = 0.07 * high;
  pen.beginPath();
  pen.roundRect(edge, edge, canvas.width - 2 * edge, canvas.height - 2 * edge, high / 2 - edge);
  pen.fillStyle = look.fill;
  pen.fill();
  pen.lineWidth = edge;
  pen.strokeStyle = look.ink;
  pen.stroke();
  if (look.text) {
    pen.font = font;
    pen.fillStyle = look.ink;
    pen.textAlign = 'center';
    pen.textBaseline = 'middle';
    pen.fillText(look.text, canvas.width / 2, canvas.height / 2 + 0.04 * high);
  }
  const texture = new THREE.CanvasTexture(canvas);
  texture.colorSpace = THREE.SRGBColorSpace;
  const material = new THREE.SpriteMaterial({ map: texture, sizeAttenuation: false, depthTest: !look.over, depthWrite: false });
  material.onBeforeCompile = (shader) => {
    shader.vertexShader = shader.vertexShader.replace(
      'mvPosition.xy += rotatedPosition;',
      `mvPosition.xyz *= 1.0 - ${LIFT_MM.toFixed(1)} / length(mvPosition.xyz);
       mvPosition.xy += rotatedPosition;`,
    );
  };
  material.customProgramCacheKey = () => 'disc';
  const sprite = new THREE.Sprite(material);
  sprite.userData.sizePx = [canvas.width / scale, canvas.height / scale];
  return sprite;
}

/** Give a disc its size again after the window changed. */
export function sizeDisc(sprite, perPx) {
  const [wide, high] = sprite.userData.sizePx;
  sprite.scale.set(wide * perPx, high * perPx, 1);
}

/** Free what a disc holds on the graphics card. */
export function dropDisc(sprite) {
  sprite.material.map.dispose();
  sprite.material.dispose();
}
