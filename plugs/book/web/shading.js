// How the plug's surface is coloured: soft light, reflection lines, curvature. Colours are those of the screen.
const PLUG_SHADING = (function () {
  "use strict";
  const HEAD = `
    varying vec3 vAt;
    varying vec3 vNormal;
    varying vec3 vTint;
    varying vec2 vBend;
  `;
  const VERTEX = HEAD + `
    attribute vec2 bend;
    attribute vec3 tint;
    void main() {
      vec4 at = modelMatrix * vec4(position, 1.0);
      vAt = at.xyz;
      vNormal = mat3(modelMatrix) * normal;
      vTint = tint;
      vBend = bend;
      gl_Position = projectionMatrix * viewMatrix * at;
    }
  `;
  const CUT = HEAD + `
    uniform vec4 cut; // what lies beyond this plane is not shown: its normal, and how far along that
    void leaveOut() { if (dot(vAt, cut.xyz) > cut.w) discard; }
  `;
  // Light comes softly from the upper left of whoever looks, and from the sky.
  // A reflection line is the picture of a lamp. Lamps lie side by side on a vault round an axis through the middle,
  // `far` from it, and each takes an equal share of the round. A ray from an eye far off along v is sent on by the
  // surface along r = 2 (n . v) n - v; the angle round the axis at which it meets the vault tells which lamp it is.
  const SURFACE = CUT + `
    uniform vec3 colour, toEye, toRight, toTop;
    uniform vec3 lampUp, lampSide, middle;
    uniform float lamps, far, flattest;
    uniform int look;
    uniform bool isFlat, isTinted, isEven;
    vec3 lit(vec3 base, vec3 n) {
      float key = 0.5 + 0.5 * dot(n, normalize(0.62 * toEye - 0.48 * toRight + 0.62 * toTop));
      float light = 0.30 + 0.16 * (0.5 + 0.5 * n.z) + 0.62 * key * key;
      float gleam = pow(max(dot(n, normalize(1.62 * toEye - 0.48 * toRight + 0.62 * toTop)), 0.0), 32.0);
      return base * light + 0.10 * gleam;
    }
    vec3 striped(vec3 n) {
      vec3 r = 2.0 * dot(n, toEye) * n - toEye;
      vec2 at = vec2(dot(vAt - middle, lampUp), dot(vAt - middle, lampSide));
      vec2 way = vec2(dot(r, lampUp), dot(r, lampSide));
      way /= max(length(way), 1e-6);
      float back = dot(at, way);
      vec2 q = (at + (sqrt(max(back * back - dot(at, at) + far * far, 0.0)) - back) * way) / far;
      float per = lamps / 6.283185307;
      float soft = 0.75 * per * length(vec2(length(dFdx(q)), length(dFdy(q))));
      float share = abs(fract(atan(q.y, q.x) * per) - 0.5); // 0 in the middle of a lamp, 0.5 between two
      float isLamp = 1.0 - smoothstep(0.25 - soft, 0.25 + soft, share);
      isLamp = mix(isLamp, 0.5, smoothstep(0.3, 0.8, soft));
      return mix(vec3(0.10, 0.12, 0.14), vec3(0.97), isLamp) * (0.86 + 0.14 * dot(n, toEye));
    }
    vec3 bent(vec3 n) {
      float most = max(abs(vBend.x), abs(vBend.y));
      float least = max(flattest, 0.02 * most);
      bool isHump = vBend.x > least, isHollow = vBend.y < -least;
      vec3 deep = isHump && isHollow ? vec3(0.42, 0.16, 0.58) : isHump ? vec3(0.72, 0.30, 0.02) : vec3(0.04, 0.30, 0.66);
      float band = most < flattest ? 0.0 : min(1.0 + floor(2.0 * log(most / flattest) / 2.302585), 6.0);
      float n1 = dot(n, toEye);
      return mix(vec3(0.93), deep, band / 6.0) * (0.82 + 0.18 * n1);
    }
    void main() {
      leaveOut();
      vec3 n = normalize(isFlat ? cross(dFdx(vAt), dFdy(vAt)) : vNormal);
      vec3 base = isTinted ? vTint : colour;
      if (isEven) {
        gl_FragColor = vec4(base * (0.8 + 0.2 * dot(n, toEye)), 1.0);
        return;
      }
      gl_FragColor = vec4(look == 1 && !isFlat ? striped(n) : look == 2 && !isFlat ? bent(n) : lit(base, n), 1.0);
    }
  `;
  const PLAIN = CUT + `
    uniform vec3 colour;
    void main() { leaveOut(); gl_FragColor = vec4(colour, 1.0); }
  `;
  const FACE = `
    uniform vec3 colour;
    void main() { gl_FragColor = vec4(colour, 1.0); }
  `;
  // What keeps light from the ground: the nearer to it, the darker.
  const SHADE = CUT + `
    uniform float ground, reach;
    void main() { leaveOut(); gl_FragColor = vec4(exp(-max(vAt.z - ground, 0.0) / reach), 0.0, 0.0, 1.0); }
  `;
  const GROUND = `
    varying vec2 vPlace;
    uniform sampler2D shade;
    uniform float dark;
    void main() {
      float sum = 0.0;
      for (int i = 0; i < 96; i++) { // on a spiral: even all over a disc
        float turn = 2.399963 * float(i), far = 0.07 * sqrt((float(i) + 0.5) / 96.0);
        sum += texture2D(shade, vPlace + far * vec2(cos(turn), sin(turn))).r;
      }
      gl_FragColor = vec4(0.0, 0.0, 0.0, dark * sum / 96.0);
    }
  `;
  const PLACED = `
    varying vec2 vPlace;
    void main() { vPlace = uv; gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }
  `;
  const rgb = (text) => new THREE.Vector3(...[1, 3, 5].map((i) => parseInt(text.slice(i, i + 2), 16) / 255));
  return { VERTEX, SURFACE, PLAIN, FACE, SHADE, GROUND, PLACED, rgb };
})();
