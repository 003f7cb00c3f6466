// The plug in three dimensions: turned, zoomed and moved by mouse, touch and keys. Axes of the recipe, z up, mm.
(function () {
  "use strict";
  const room = document.getElementById("viewer");
  const held = document.getElementById("scene");
  if (!room || !held || typeof THREE === "undefined") return;
  const canvas = room.querySelector("canvas");
  const context = canvas.getContext("webgl2", { antialias: true, alpha: true, stencil: true });
  if (!context) return; // the pictures stay

  const find = (name) => room.querySelector("[data-part=" + name + "]");
  const unit = room.dataset.unit;
  const AXES = { x: 0, y: 1, z: 2 };
  const LOOKS = { // outside, and what a section lays open
    foam: ["#efd9ae", "#d8a64f"], finish: ["#b9cbd6", "#4d7c99"], templates: ["#c79a68", "#8a5a2a"],
    joined: ["#7a4a20", "#7a4a20"], mould: ["#dcdcd6", "#9a9a92"], "hard points": ["#8f6b46", "#5f4327"], board: ["#cdb98f", "#a98f5c"],
  };
  const LAYERS = [["#efd9ae", "#d8a64f"], ["#cfe0cc", "#8db08a"]];
  const LOOKS_OF = { light: 0, lines: 1, curvature: 2 };
  const INK = "#2e2a24";
  const VIEWS = {
    quarter: [1, 0.85, 0.62], bow: [-1, -0.85, 0.62], side: [0, -1, 0], plan: [0, 0, 1], end: [1, 0, 0], front: [-1, 0, 0],
    below: [0.35, -0.35, -1],
  };
  const OPENED = { x: [0.75, 1, 0.42], y: [1, 0.55, 0.5], z: [1, 0.85, 0.36] }; // whence layers are seen, drawn apart
  const { rgb, VERTEX, SURFACE, PLAIN, FACE, SHADE, GROUND, PLACED } = PLUG_SHADING;

  // ---- what is shown

  const packed = JSON.parse(held.textContent);
  const low = new THREE.Vector3(...packed.low);
  const span = new THREE.Vector3(...packed.span);
  const middle = low.clone().addScaledVector(span, 0.5);
  const size = span.length();
  const along = AXES[packed.axis];

  function bytes(text) {
    const raw = atob(text);
    const out = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
    return out.buffer;
  }

  // Everything of a mesh that can be said of a corner, by its name: how many numbers, and these.
  function unpacked(mesh) {
    const numbers = (text) => (mesh.bits === 16 ? new Uint16Array(bytes(text)) : new Uint32Array(bytes(text)));
    const places = new Uint16Array(bytes(mesh.places));
    const count = places.length / 3;
    const found = { corners: numbers(mesh.corners), edges: numbers(mesh.edges), position: [3, new Float32Array(3 * count)] };
    for (let i = 0; i < 3 * count; i++) found.position[1][i] = packed.low[i % 3] + (packed.span[i % 3] / 65535) * places[i];
    if (mesh.normals) {
      const folded = new Int16Array(bytes(mesh.normals));
      const out = new Float32Array(3 * count);
      for (let i = 0; i < count; i++) {
        let x = folded[2 * i] / 32767, y = folded[2 * i + 1] / 32767;
        const z = 1 - Math.abs(x) - Math.abs(y);
        if (z < 0) [x, y] = [(1 - Math.abs(y)) * (x < 0 ? -1 : 1), (1 - Math.abs(x)) * (y < 0 ? -1 : 1)];
        const length = Math.hypot(x, y, z);
        out.set([x / length, y / length, z / length], 3 * i);
      }
      found.normal = [3, out];
    }
    if (mesh.bends) {
      const steps = new Int8Array(bytes(mesh.bends));
      const out = new Float32Array(steps.length);
      for (let i = 0; i < steps.length; i++) {
        out[i] = Math.sign(steps[i]) * packed.bends[0] * Math.pow(packed.bends[1], Math.abs(steps[i]) / 127);
        if (!steps[i]) out[i] = 0;
      }
      found.bend = [2, out];
    }
    return found;
  }
  function geometryOf(found) {
    const made = new THREE.BufferGeometry();
    for (const name of ["position", "normal", "bend", "tint"]) {
      if (found[name]) made.setAttribute(name, new THREE.BufferAttribute(found[name][1], found[name][0]));
    }
    if (found.corners) made.setIndex(new THREE.BufferAttribute(found.corners, 1));
    made.computeBoundingBox();
    return made;
  }
  function linesOf(points) {
    const made = new THREE.BufferGeometry();
    made.setAttribute("position", new THREE.BufferAttribute(new Float32Array(points), 3));
    return made;
  }
  function edgePoints(found) {
    const out = [];
    for (const i of found.edges) out.push(...found.position[1].subarray(3 * i, 3 * i + 3));
    return out;
  }
  // a colour to each triangle
  function withTints(found, mesh) {
    const tints = new Uint8Array(bytes(mesh.tints));
    const shades = packed.palette.map((text) => rgb(text).toArray());
    const out = { edges: found.edges, position: [3, []], tint: [3, []] };
    for (let i = 0; i < found.corners.length; i++) {
      const k = found.corners[i];
      out.position[1].push(...found.position[1].subarray(3 * k, 3 * k + 3));
      out.tint[1].push(...shades[tints[Math.floor(i / 3)]]);
    }
    out.position[1] = new Float32Array(out.position[1]);
    out.tint[1] = new Float32Array(out.tint[1]);
    return out;
  }

  // What of a surface lies between two planes square to the stack; the first and last plane leave nothing over.
  function between(found, first, last) {
    const names = ["position", "normal", "bend"].filter((name) => found[name]);
    const width = names.reduce((sum, name) => sum + found[name][0], 0);
    const slack = (2 * packed.span[along]) / 65535;
    const rows = [];
    const corner = (i) => {
      const row = [];
      for (const name of names) for (let k = 0; k < found[name][0]; k++) row.push(found[name][1][found[name][0] * i + k]);
      return row;
    };
    const cut = (ring, at, sense) => {
      const out = [];
      ring.forEach((here, i) => {
        const next = ring[(i + 1) % ring.length];
        const a = sense * (here[along] - at), b = sense * (next[along] - at);
        if (a >= 0) out.push(here);
        if ((a > 0 && b < 0) || (a < 0 && b > 0)) out.push(here.map((v, k) => v + (a / (a - b)) * (next[k] - v)));
      });
      return out;
    };
    for (let f = 0; f < found.corners.length; f += 3) {
      let ring = [0, 1, 2].map((k) => corner(found.corners[f + k]));
      const heights = ring.map((row) => row[along]);
      const least = Math.min(...heights), most = Math.max(...heights);
      if (most < first || least > last) continue;
      if (most - least < slack) { // a flat face in one of the planes belongs to the layer that it is the face of
        const up = ring.reduce((sum, row) => sum + row[3 + along], 0) > 0;
        if ((up && most < first + slack) || (!up && least > last - slack)) continue;
      } else {
        if (least < first) ring = cut(ring, first, 1);
        if (most > last) ring = cut(ring, last, -1);
      }
      for (let k = 1; k + 1 < ring.length; k++) rows.push(ring[0], ring[k], ring[k + 1]);
    }
    const out = { edges: [] };
    let from = 0;
    for (const name of names) {
      const count = found[name][0];
      const values = new Float32Array(count * rows.length);
      rows.forEach((row, i) => { for (let k = 0; k < count; k++) values[count * i + k] = row[from + k]; });
      out[name] = [count, values];
      from += count;
    }
    const edges = [];
    for (let i = 0; i < found.edges.length; i += 2) {
      let ring = [corner(found.edges[i]), corner(found.edges[i + 1])];
      ring = cut(ring, first, 1).slice(0, 2);
      if (ring.length === 2) ring = cut(ring, last, -1).slice(0, 2);
      if (ring.length === 2) edges.push(...ring[0].slice(0, 3), ...ring[1].slice(0, 3));
    }
    out.lines = edges;
    return out;
  }

  // One set of numbers for all that is drawn; each material has its own colour besides.
  const all = {
    cut: { value: new THREE.Vector4(0, 0, 0, 1) }, look: { value: 0 }, lamps: { value: 36 },
    toEye: { value: new THREE.Vector3() }, toRight: { value: new THREE.Vector3() }, toTop: { value: new THREE.Vector3() },
    lampUp: { value: new THREE.Vector3(0, 0, 1) }, lampSide: { value: new THREE.Vector3(0, 1, 0) },
    middle: { value: middle }, far: { value: size },
    flattest: { value: 1 / 10000 }, ground: { value: packed.low[2] }, reach: { value: 0.12 * size },
  };
  const material = (fragmentShader, own, words) => new THREE.ShaderMaterial(
    { vertexShader: VERTEX, fragmentShader, uniforms: { ...all, ...own }, ...words });
  const surfaceOf = (colour, isFlat, isTinted, isEven = false) => material(SURFACE,
    { colour: { value: rgb(colour) }, isFlat: { value: isFlat }, isTinted: { value: isTinted }, isEven: { value: isEven } },
    { polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 });
  const ink = material(PLAIN, { colour: { value: rgb(INK) } });
  const glueInk = material(PLAIN, { colour: { value: rgb("#b3261e") } });
  const counted = (side, op) => material(PLAIN, { colour: { value: rgb(INK) } }, {
    side, colorWrite: false, depthWrite: false, depthTest: false, stencilWrite: true,
    stencilFunc: THREE.AlwaysStencilFunc, stencilZPass: op,
  });
  const entered = counted(THREE.BackSide, THREE.IncrementWrapStencilOp);
  const left = counted(THREE.FrontSide, THREE.DecrementWrapStencilOp);
  const sheet = new THREE.PlaneGeometry(4 * size, 4 * size);

  const scene = new THREE.Scene();
  const groups = { foam: [], finish: [], layers: [], templates: [], mould: [], "hard points": [] };
  const everything = [];

  // A body: its surfaces, its edges, and the face that a section lays open.
  function add(group, name, shapes, lines, look) {
    const part = new THREE.Group();
    const solid = new THREE.Group(), faces = new THREE.Group();
    shapes.forEach((shape) => {
      const isEven = group === "mould"; // its colours are read off a key
      solid.add(new THREE.Mesh(shape, surfaceOf(look[0], !shape.attributes.normal, Boolean(shape.attributes.tint), isEven)));
      for (const one of [entered, left]) faces.add(new THREE.Mesh(shape, one));
    });
    const edges = new THREE.LineSegments(linesOf(lines), ink);
    solid.add(edges);
    const face = new THREE.Mesh(sheet, new THREE.ShaderMaterial({
      vertexShader: VERTEX, fragmentShader: FACE, uniforms: { colour: { value: rgb(look[1]) } }, side: 2,
      stencilWrite: true, stencilFunc: THREE.NotEqualStencilFunc, stencilRef: 0,
    }));
    face.onAfterRender = (renderer) => renderer.clearStencil();
    faces.add(face);
    const rim = new THREE.LineSegments(linesOf([]), new THREE.ShaderMaterial({
      vertexShader: VERTEX, fragmentShader: FACE, uniforms: { colour: { value: rgb(INK) } } }));
    rim.frustumCulled = false;
    faces.add(rim);
    const order = group === "finish" ? 9 : 10 + everything.length; // a skin first: foam lies inside it
    faces.children.forEach((one) => { one.renderOrder = order; });
    face.renderOrder += 0.5;
    rim.renderOrder += 0.6;
    part.add(solid, faces);
    part.name = name;
    Object.assign(part.userData, { group, shapes, solid, faces, face, rim, apart: 0, extras: [], outer: outermost(shapes) });
    groups[group].push(part);
    everything.push(part);
    scene.add(part);
    return part;
  }
  // the points of shapes that are farthest out, whichever way they are looked at
  const WAYS = Array.from({ length: 200 }, (_, i) => {
    const z = (2 * i + 1) / 200 - 1, turn = 2.399963 * i, r = Math.sqrt(1 - z * z);
    return [r * Math.cos(turn), r * Math.sin(turn), z];
  });
  function outermost(shapes) {
    const found = WAYS.map(() => null), reach = WAYS.map(() => -Infinity);
    for (const shape of shapes) {
      const p = shape.attributes.position.array;
      for (let i = 0; i < p.length; i += 3) {
        for (let k = 0; k < WAYS.length; k++) {
          const far = p[i] * WAYS[k][0] + p[i + 1] * WAYS[k][1] + p[i + 2] * WAYS[k][2];
          if (far > reach[k]) { reach[k] = far; found[k] = [shape, i]; }
        }
      }
    }
    return [...new Set(found.map(([shape, i]) => Array.from(shape.attributes.position.array.subarray(i, i + 3)).join()))]
      .map((text) => new THREE.Vector3(...text.split(",").map(Number)));
  }
  let foam = null;
  packed.meshes.forEach((mesh) => {
    const found = unpacked(mesh);
    const look = mesh.group === "layers" ? LAYERS[groups.layers.length % 2] : LOOKS[mesh.group];
    if (mesh.group === "foam") foam = found;
    if (mesh.tints) return add(mesh.group, mesh.name, [geometryOf(withTints(found, mesh))], edgePoints(found), look);
    const shapes = [geometryOf(found)];
    const lines = edgePoints(found);
    if (mesh.between) {
      const walls = between(foam, ...mesh.between);
      shapes.unshift(geometryOf(walls));
      lines.push(...walls.lines);
    }
    return add(mesh.group, mesh.name, shapes.filter((one) => one.attributes.position.count), lines, look);
  });

  // pins stand in the layer under a joint, and round what takes glue there is a line
  for (const joined of packed.joined || []) {
    const part = groups.layers.find((one) => one.name === joined.layer);
    if (!part) continue;
    const lines = [];
    for (const ring of joined.glue) ring.forEach((point, i) => lines.push(...point, ...ring[(i + 1) % ring.length]));
    part.userData.extras.push(new THREE.LineSegments(linesOf(lines), glueInk));
    const look = surfaceOf(LOOKS.joined[0], false, false);
    for (const [from, to] of joined.pins) {
      const a = new THREE.Vector3(...from), b = new THREE.Vector3(...to);
      const pin = new THREE.Mesh(new THREE.CylinderGeometry(joined.diameter / 2, joined.diameter / 2, a.distanceTo(b), 12), look);
      pin.position.copy(a).lerp(b, 0.5);
      pin.quaternion.setFromUnitVectors(new THREE.Vector3(0, 1, 0), b.sub(a).normalize());
      part.userData.extras.push(pin);
    }
    part.add(...part.userData.extras);
  }

  // the building board that templates stand on, with its lines
  const board = new THREE.Group();
  if (packed.base) {
    const over = 0.05 * size, thick = 0.012 * size, z = packed.base.z;
    const [x0, y0] = packed.base.low.map((v) => v - over), [x1, y1] = packed.base.high.map((v) => v + over);
    const at = [];
    for (const height of [z - thick, z]) at.push([x0, y0, height], [x1, y0, height], [x1, y1, height], [x0, y1, height]);
    const quads = [[4, 5, 6, 7], [3, 2, 1, 0], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]];
    const points = quads.flatMap(([a, b, c, d]) => [a, b, c, a, c, d].flatMap((k) => at[k]));
    const lines = [[0, 1], [1, 2], [2, 3], [3, 0], [4, 5], [5, 6], [6, 7], [7, 4], [0, 4], [1, 5], [2, 6], [3, 7]]
      .flatMap((pair) => pair.flatMap((k) => at[k]));
    const curve = packed.base.curve || [[x0, 0], [x1, 0]];
    curve.slice(1).forEach(([x, y], k) => lines.push(...curve[k], z, x, y, z));
    for (const [axis, place, ...end] of packed.base.lines) {
      if (end.length) lines.push(axis, place, z, ...end, z);
      else lines.push(...(axis === "x" ? [place, y0, z, place, y1, z] : [x0, place, z, x1, place, z]));
    }
    board.add(new THREE.Mesh(linesOf(points), surfaceOf(LOOKS.board[0], true, false)), new THREE.LineSegments(linesOf(lines), ink));
    board.children[0].geometry.computeBoundingBox();
    scene.add(board);
  }

  // the ground, and what is kept from its light
  const shade = new THREE.WebGLRenderTarget(64, 64);
  const shader = material(SHADE, {}, { side: 2, depthTest: false, blending: 5, blendEquation: 104, blendSrc: 201, blendDst: 201 });
  const ground = new THREE.Mesh(sheet, new THREE.ShaderMaterial({
    vertexShader: PLACED, fragmentShader: GROUND, transparent: true, depthWrite: false,
    uniforms: { shade: { value: shade.texture }, dark: { value: 0.5 } },
  }));
  ground.renderOrder = -1;
  scene.add(ground);

  // The wire of a cutter: where it stands at a time, and what it has gone along on both faces.
  const wire = new THREE.Group();
  const ways = packed.ways || [];
  const steps = []; // [piece, step, when it begins]
  let whole = 0;
  for (const way of ways) {
    way.seconds.forEach((when, k) => { if (k) steps.push([way, k, whole + way.seconds[k - 1]]); });
    whole += way.seconds[way.seconds.length - 1];
  }
  const line = (count, colour) => {
    const shape = linesOf(new Float32Array(6 * count));
    const drawn = new THREE.LineSegments(shape, material(PLAIN, { colour: { value: rgb(colour) } }));
    drawn.frustumCulled = false;
    wire.add(drawn);
    return shape;
  };
  const straight = line(1, "#d00000"), trail = line(2 * steps.length, "#7030c0");
  steps.forEach(([way, k], i) => {
    trail.attributes.position.array.set([...way.near[k - 1], ...way.near[k], ...way.far[k - 1], ...way.far[k]], 12 * i);
  });
  scene.add(wire);
  function moveWire(share) {
    wire.visible = share > 0;
    if (!share) return "";
    const when = share * whole;
    let i = 0;
    while (i + 1 < steps.length && steps[i + 1][2] <= when) i += 1;
    const [way, k, begin] = steps[i];
    const part = Math.min(1, (when - begin) / Math.max(way.seconds[k] - way.seconds[k - 1], 1e-6));
    const at = (face) => new THREE.Vector3(...face[k - 1]).lerp(new THREE.Vector3(...face[k]), part);
    const near = at(way.near), far = at(way.far);
    const over = far.clone().sub(near).setLength(0.08 * size); // it is longer than the block
    straight.attributes.position.array.set([...near.sub(over).toArray(), ...far.add(over).toArray()]);
    straight.attributes.position.needsUpdate = true;
    trail.setDrawRange(0, 4 * i);
    return way.name + ", " + (when / 60).toFixed(1) + " of " + (whole / 60).toFixed(1) + " min";
  }

  // How far each layer moves along the stack until none covers another, seen from where they are looked at.
  (function () {
    const eye = new THREE.Vector3(...OPENED[packed.axis]).normalize();
    const stack = new THREE.Vector3(along === 0, along === 1, along === 2);
    const up = stack.clone().addScaledVector(eye, -stack.dot(eye));
    const rise = up.length(); // of a picture's length for one along the stack
    up.normalize();
    let reach = null, moved = 0;
    for (const part of groups.layers) {
      let least = Infinity, most = -Infinity;
      for (const shape of part.userData.shapes) {
        const at = shape.attributes.position.array;
        for (let i = 0; i < at.length; i += 3) {
          const height = at[i] * up.x + at[i + 1] * up.y + at[i + 2] * up.z;
          least = Math.min(least, height);
          most = Math.max(most, height);
        }
      }
      if (reach !== null) moved = Math.max(moved, (reach + 0.015 * size - least) / rise);
      part.userData.apart = moved;
      reach = most + moved * rise;
    }
  })();

  // ---- how it is looked at

  const renderer = new THREE.WebGLRenderer({ canvas, context, antialias: true, alpha: true, stencil: true });
  const camera = new THREE.OrthographicCamera(-1, 1, 1, -1, -40 * size, 40 * size);
  camera.up.set(0, 0, 1);
  // a wheel turned over a picture that nobody works in scrolls the page
  canvas.addEventListener("wheel", (event) => {
    if (document.activeElement !== canvas) event.stopImmediatePropagation();
  }, { capture: true });
  canvas.addEventListener("pointerdown", () => canvas.focus({ preventScroll: true }));
  const controls = new THREE.OrbitControls(camera, canvas);
  controls.screenSpacePanning = true;
  controls.minZoom = 0.05;
  controls.maxZoom = 60;

  const state = {
    show: groups.finish.length ? "finish" : "foam", look: "light", lamp: 12, lampAxis: "x", only: "", apart: 1, axis: "", at: 0.5,
    templates: false, board: true, wire: 0,
  };
  let asked = false;

  function frame() { // at zoom 1, the ball round everything fits into the height of the picture
    camera.top = 0.5 * size;
    camera.bottom = -camera.top;
    camera.right = (camera.top * canvas.clientWidth) / canvas.clientHeight;
    camera.left = -camera.right;
    camera.updateProjectionMatrix();
  }
  function draw() {
    asked = false;
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (!width || !height) return;
    renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    renderer.setSize(width, height, false);
    frame();
    camera.updateMatrixWorld();
    camera.matrixWorld.extractBasis(all.toRight.value, all.toTop.value, all.toEye.value);
    ground.visible = all.toEye.value.z > 0.02;
    renderer.render(scene, camera);
    label();
    // for whoever measures in the picture: pixels to a mm, and what lies in its middle
    room.dataset.scale = String((canvas.height * camera.zoom) / (camera.top - camera.bottom));
    room.dataset.middle = controls.target.toArray().join();
  }
  function ask() {
    if (!asked) {
      asked = true;
      requestAnimationFrame(draw);
    }
  }
  const shown = () => everything.filter((part) => part.visible);
  function boxOf(parts) {
    const box = new THREE.Box3();
    for (const part of parts) {
      for (const shape of part.userData.shapes) box.union(shape.boundingBox.clone().translate(part.position));
    }
    return box;
  }
  const cornersOf = (box) => [0, 1, 2, 3, 4, 5, 6, 7].map((k) => new THREE.Vector3(
    k & 1 ? box.max.x : box.min.x, k & 2 ? box.max.y : box.min.y, k & 4 ? box.max.z : box.min.z));
  const outerOf = (part) => part.userData.outer.map((point) => point.clone().add(part.position));
  // the whole of what is shown in the middle, as large as it may be
  function fit() {
    const parts = shown();
    if (!parts.length) return;
    const way = camera.position.clone().sub(controls.target).normalize();
    const points = parts.flatMap(outerOf);
    if (board.visible) points.push(...cornersOf(board.children[0].geometry.boundingBox));
    camera.position.copy(way.multiplyScalar(2 * size));
    camera.lookAt(0, 0, 0);
    camera.updateMatrixWorld();
    frame();
    const axes = [0, 1, 2].map((k) => new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, k));
    const ends = axes.map((axis) => {
      const far = points.map((point) => point.dot(axis));
      return [Math.min(...far), Math.max(...far)];
    });
    controls.target.set(0, 0, 0);
    axes.forEach((axis, k) => controls.target.addScaledVector(axis, (ends[k][0] + ends[k][1]) / 2));
    camera.position.add(controls.target);
    const [wide, tall] = ends.map(([from, to]) => Math.max((to - from) / 2, 1e-6));
    const room_ = labelled().length ? Math.max(0.5, 1 - 130 / canvas.clientWidth) : 0.94;
    camera.zoom = Math.min((room_ * camera.right) / wide, (0.94 * camera.top) / tall);
    camera.updateProjectionMatrix();
    controls.update();
    ask();
  }
  function place(way, name) {
    controls.target.copy(middle);
    camera.position.copy(middle).addScaledVector(new THREE.Vector3(...way).normalize(), 2 * size);
    if (name === "plan") camera.position.y -= 0.001 * size; // so that forward is to the left
    controls.update();
    fit();
  }
  function turn(sideways, upward) {
    const ball = new THREE.Spherical();
    const arm = camera.position.clone().sub(controls.target);
    ball.setFromVector3(new THREE.Vector3(arm.x, arm.z, -arm.y));
    ball.theta += sideways;
    ball.phi = Math.min(Math.PI - 0.001, Math.max(0.001, ball.phi + upward));
    arm.setFromSpherical(ball);
    camera.position.copy(controls.target).add(new THREE.Vector3(arm.x, -arm.z, arm.y));
    controls.update();
  }
  function pan(right, up) {
    const step = (camera.right - camera.left) / camera.zoom;
    const across = new THREE.Vector3().setFromMatrixColumn(camera.matrix, 0).multiplyScalar(right * step);
    const above = new THREE.Vector3().setFromMatrixColumn(camera.matrix, 1).multiplyScalar(up * step);
    for (const point of [camera.position, controls.target]) point.add(across).add(above);
    controls.update();
  }
  function zoom(by) {
    camera.zoom = Math.min(controls.maxZoom, Math.max(controls.minZoom, camera.zoom * by));
    camera.updateProjectionMatrix();
    controls.update();
  }
  const KEYS = {
    ArrowLeft: (far) => (far ? pan(0.05, 0) : turn(-0.12, 0)), ArrowRight: (far) => (far ? pan(-0.05, 0) : turn(0.12, 0)),
    ArrowUp: (far) => (far ? pan(0, -0.05) : turn(0, -0.12)), ArrowDown: (far) => (far ? pan(0, 0.05) : turn(0, 0.12)),
    "+": () => zoom(1.15), "=": () => zoom(1.15), "-": () => zoom(1 / 1.15), Home: () => place(VIEWS.quarter), f: () => fit(),
    Escape: () => only(""),
  };
  canvas.addEventListener("keydown", (event) => {
    const act = KEYS[event.key];
    if (!act || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    act(event.shiftKey);
    keep();
    ask();
  });

  // ---- names beside layers and templates, and what is picked by a click

  const tags = find("labels");
  const named = new Map();
  const labelled = () => shown().filter((part) => ["layers", "templates"].includes(part.userData.group));
  for (const part of [...groups.layers, ...groups.templates]) {
    const tag = document.createElement("button");
    tag.type = "button";
    tag.tabIndex = -1; // by keys a layer is chosen from the list
    tag.textContent = part.name;
    tag.hidden = true;
    if (part.userData.group === "layers") tag.addEventListener("click", () => only(state.only === part.name ? "" : part.name));
    tags.append(tag);
    named.set(part, tag);
  }
  const onScreen = (point) => {
    const at = point.clone().project(camera);
    return [(0.5 + 0.5 * at.x) * canvas.clientWidth, (0.5 - 0.5 * at.y) * canvas.clientHeight];
  };
  function label() {
    for (const tag of named.values()) tag.hidden = true;
    const rows = labelled().map((part) => {
      const [x, y] = outerOf(part).map(onScreen).reduce((one, next) => (next[0] > one[0] ? next : one));
      return { tag: named.get(part), x, y };
    }).filter((row) => row.y > 0 && row.y < canvas.clientHeight && row.x > 0).sort((a, b) => a.y - b.y);
    const every = Math.ceil((22 * rows.length) / canvas.clientHeight) || 1; // as many as have room
    let last = -Infinity;
    rows.filter((_, i) => i % every === 0).forEach((row) => {
      const x = Math.min(row.x + 6, canvas.clientWidth - 12 - 8 * row.tag.textContent.length);
      last = Math.max(row.y, last + 21);
      row.tag.hidden = last > canvas.clientHeight - 6;
      row.tag.style.transform = "translate(" + x.toFixed(1) + "px," + (last - 10).toFixed(1) + "px)";
    });
  }
  function only(name) {
    choose({ only: name });
    fit();
  }
  let pressed = null;
  canvas.addEventListener("pointerdown", (event) => { pressed = [event.clientX, event.clientY]; });
  canvas.addEventListener("pointerup", (event) => {
    if (!pressed || state.show !== "layers" || Math.hypot(event.clientX - pressed[0], event.clientY - pressed[1]) > 4) return;
    const box = canvas.getBoundingClientRect();
    const ray = new THREE.Raycaster();
    ray.setFromCamera(new THREE.Vector2(
      (2 * (event.clientX - box.left)) / box.width - 1, 1 - (2 * (event.clientY - box.top)) / box.height), camera);
    const solids = groups.layers.filter((part) => part.visible).map((part) => part.userData.solid);
    const hit = ray.intersectObjects(solids, true).find((one) => one.object.isMesh);
    if (hit) only(state.only ? "" : hit.object.parent.parent.name);
  });
  canvas.addEventListener("dblclick", () => { if (state.show !== "layers") fit(); });

  // ---- what is chosen

  function length(value) {
    if (unit !== "in") return (Math.round(value * 10) / 10).toString().replace("-", "\u2212") + " mm";
    const parts = Math.round((Math.abs(value) / 25.4) * 16);
    let over = parts % 16, under = 16;
    while (over && over % 2 === 0) { over /= 2; under /= 2; }
    const whole = Math.floor(parts / 16);
    const words = [whole || !over ? String(whole) : "", over ? over + "/" + under : ""].filter(Boolean).join(" ");
    return (value < 0 && parts ? "\u2212" : "") + words + " in";
  }
  function sectionAt() {
    const k = AXES[state.axis];
    return packed.low[k] + state.at * packed.span[k];
  }
  // where a plane square to an axis crosses the triangles of a body
  function crossed(part, k, at) {
    const out = [];
    const own = at - part.position.getComponent(k);
    for (const shape of part.userData.shapes) {
      const p = shape.attributes.position.array, index = shape.index && shape.index.array;
      const count = index ? index.length : p.length / 3;
      for (let f = 0; f < count; f += 3) {
        const corner = [0, 1, 2].map((j) => 3 * (index ? index[f + j] : f + j));
        const over = corner.map((c) => p[c + k] > own);
        if (over[0] === over[1] && over[1] === over[2]) continue;
        for (let j = 0; j < 3; j++) {
          const a = corner[j], b = corner[(j + 1) % 3];
          if (over[j] === over[(j + 1) % 3]) continue;
          const share = (own - p[a + k]) / (p[b + k] - p[a + k]);
          for (let i = 0; i < 3; i++) out.push(p[a + i] + share * (p[b + i] - p[a + i]));
        }
      }
    }
    return new Float32Array(out);
  }
  function section() {
    all.cut.value.set(0, 0, 0, 1);
    for (const part of everything) part.userData.faces.visible = false;
    if (!state.axis) return;
    const k = AXES[state.axis], at = sectionAt();
    all.cut.value.setComponent(k, 1); // what lies before, to the left of, or under the plane stays
    all.cut.value.w = at;
    const normal = new THREE.Vector3().setComponent(k, 1);
    for (const part of everything) {
      const { faces, face, rim, group } = part.userData;
      // under a skin that is cut there is foam
      const isInside = group === "foam" && state.show === "finish";
      faces.visible = part.visible || isInside;
      if (!faces.visible) continue;
      if (isInside) part.visible = true;
      face.quaternion.setFromUnitVectors(new THREE.Vector3(0, 0, 1), normal);
      face.position.copy(middle).setComponent(k, at).sub(part.position);
      rim.geometry.setAttribute("position", new THREE.BufferAttribute(crossed(part, k, at), 3));
      rim.position.set(0, 0, 0).setComponent(k, 1e-4 * size);
    }
  }
  // from under the ground: what is nearest to it
  function cast() {
    const parts = shown();
    if (!parts.length) return;
    const box = boxOf(parts);
    if (board.visible) box.union(board.children[0].geometry.boundingBox);
    const floor = box.min.z, at = box.getCenter(new THREE.Vector3());
    const half = 0.75 * Math.hypot(box.max.x - box.min.x, box.max.y - box.min.y);
    all.ground.value = floor;
    const eye = new THREE.OrthographicCamera(-half, half, half, -half, 0, 80 * size);
    eye.position.set(at.x, at.y, floor + 40 * size);
    eye.up.set(0, 1, 0);
    eye.lookAt(at.x, at.y, floor);
    ground.visible = false;
    scene.overrideMaterial = shader;
    const hidden = [];
    scene.traverse((one) => { if (one.visible && (one.isLineSegments || one === board)) { hidden.push(one); one.visible = false; } });
    for (const part of everything) if (part.userData.faces.visible) { hidden.push(part.userData.faces); part.userData.faces.visible = false; }
    renderer.setRenderTarget(shade);
    renderer.setClearColor(0x000000, 1);
    renderer.clear();
    renderer.render(scene, eye);
    renderer.setRenderTarget(null);
    renderer.setClearColor(0x000000, 0);
    scene.overrideMaterial = null;
    for (const one of hidden) one.visible = true;
    ground.visible = true;
    ground.position.set(at.x, at.y, floor - 1e-3 * size);
    ground.scale.setScalar(half / (2 * size));
  }
  function apply() {
    const isLayers = state.show === "layers", isTemplates = state.show === "templates";
    for (const part of everything) {
      const { group, solid, extras } = part.userData;
      part.visible = group === "templates" ? isTemplates || state.templates
        : group === "hard points" ? state.show === "foam"
        : group === state.show && (!isLayers || !state.only || part.name === state.only);
      solid.visible = part.visible;
      for (const one of extras) one.visible = !state.axis;
      if (group === "layers") part.position.setComponent(along, state.only ? 0 : state.apart * part.userData.apart);
    }
    board.visible = Boolean(packed.base) && state.board && (isTemplates || (state.templates && !isLayers));
    all.look.value = LOOKS_OF[state.look];
    all.lamps.value = Math.round(360 / state.lamp);
    const [up, side] = { x: [2, 1], y: [2, 0], z: [0, 1] }[state.lampAxis];
    all.lampUp.value.set(0, 0, 0).setComponent(up, 1);
    all.lampSide.value.set(0, 0, 0).setComponent(side, 1);
    section();
    cast();
    for (const button of room.querySelectorAll("[data-show]")) {
      button.setAttribute("aria-pressed", String(button.dataset.show === state.show));
    }
    for (const button of room.querySelectorAll("[data-look]")) {
      button.setAttribute("aria-pressed", String(button.dataset.look === state.look));
    }
    find("apart-row").hidden = !isLayers;
    find("at-row").hidden = !state.axis;
    find("lamp-row").hidden = state.look !== "lines";
    find("bend-key").hidden = state.look !== "curvature";
    if (find("draft-key")) find("draft-key").hidden = state.show !== "mould";
    find("board-row").hidden = !packed.base || !(isTemplates || state.templates);
    const apart = find("apart"), at = find("at");
    apart.value = String(Math.round(100 * state.apart));
    apart.setAttribute("aria-valuetext", apart.value + " percent apart");
    at.value = String(Math.round(1000 * state.at));
    const words = state.axis ? state.axis + " = " + length(sectionAt()) : "";
    at.setAttribute("aria-valuetext", words);
    find("at-words").textContent = words;
    find("lamp").value = String(state.lamp);
    const degrees = (180 / all.lamps.value).toFixed(1) + "\u00b0";
    find("lamp").setAttribute("aria-valuetext", degrees);
    find("lamp-words").textContent = degrees;
    find("lamp-axis").value = state.lampAxis;
    find("wire-row").hidden = !steps.length;
    find("wire").value = String(Math.round(1000 * state.wire));
    const told = moveWire(steps.length ? state.wire : 0);
    find("wire").setAttribute("aria-valuetext", told);
    find("wire-words").textContent = told;
    find("axis").value = state.axis;
    find("only").value = state.only;
    find("templates").checked = state.templates;
    find("board").checked = state.board;
    ask();
  }
  function choose(change) {
    Object.assign(state, change);
    apply();
    keep();
  }

  // what was chosen outlives a reload of the page, not the tab
  const slot = document.documentElement.dataset.book.split(":").slice(0, 2).join(":") + ":view";
  function keep() {
    const eye = [camera.position.toArray(), controls.target.toArray(), camera.zoom];
    try {
      sessionStorage.setItem(slot, JSON.stringify({ state, eye }));
    } catch (_) {
      // not kept, then
    }
  }
  function recall() {
    try {
      const kept = JSON.parse(sessionStorage.getItem(slot) || "null");
      if (!kept || !groups[kept.state.show].length) return false;
      Object.assign(state, kept.state);
      if (!groups.layers.some((part) => part.name === state.only)) state.only = "";
      apply();
      camera.position.fromArray(kept.eye[0]);
      controls.target.fromArray(kept.eye[1]);
      camera.zoom = kept.eye[2];
      controls.update();
      return true;
    } catch (_) {
      return false;
    }
  }

  for (const button of room.querySelectorAll("[data-show]")) {
    button.hidden = !groups[button.dataset.show].length;
    button.addEventListener("click", () => {
      const show = button.dataset.show;
      choose({ show });
      if (show === "layers" && !state.only) place(OPENED[packed.axis]); // whence none covers another
      else fit();
      keep();
    });
  }
  for (const button of room.querySelectorAll("[data-look]")) {
    button.addEventListener("click", () => choose({ look: button.dataset.look }));
  }
  for (const button of room.querySelectorAll("[data-view]")) {
    button.addEventListener("click", () => { place(VIEWS[button.dataset.view], button.dataset.view); keep(); });
  }
  for (const part of groups.layers) {
    const option = document.createElement("option");
    option.value = option.textContent = part.name;
    find("only").append(option);
  }
  find("templates-row").hidden = !groups.templates.length;
  const heard = (name, kind, change, isFitted) => find(name).addEventListener(kind, (event) => {
    choose(change(event.target));
    if (isFitted) { fit(); keep(); }
  });
  heard("apart", "input", (one) => ({ apart: Number(one.value) / 100 }), true);
  heard("only", "change", (one) => ({ only: one.value }), true);
  heard("axis", "change", (one) => ({ axis: one.value }));
  heard("at", "input", (one) => ({ at: Number(one.value) / 1000 }));
  heard("lamp", "input", (one) => ({ lamp: Number(one.value) }));
  heard("lamp-axis", "change", (one) => ({ lampAxis: one.value }));
  heard("wire", "input", (one) => ({ wire: Number(one.value) / 1000 }));
  heard("templates", "change", (one) => ({ templates: one.checked }));
  heard("board", "change", (one) => ({ board: one.checked }));
  find("fit").addEventListener("click", () => { fit(); keep(); });

  // what colours of curvature mean
  const bands = [10000, 3000, 1000, 300, 100, 30];
  for (const [words, deep] of [["hump", [0.72, 0.3, 0.02]], ["hollow", [0.04, 0.3, 0.66]], ["hollow one way, hump the other", [0.42, 0.16, 0.58]]]) {
    const row = document.createElement("p");
    row.append(words + ": ");
    bands.forEach((_, i) => {
      const patch = document.createElement("span");
      const part = (v) => Math.round(255 * (0.93 + ((v - 0.93) * (i + 1)) / 6));
      patch.style.background = "rgb(" + deep.map(part).join(",") + ")";
      row.append(patch);
    });
    find("bend-key").append(row);
  }
  find("bend-key").append("Light to dark, radii under " + bands.map(length).join(", ") + "; what is flatter has no colour.");

  room.hidden = false;
  document.documentElement.classList.add("with-3d");
  apply();
  place(VIEWS.quarter);
  recall();
  apply();
  draw();
  controls.addEventListener("change", ask);
  controls.addEventListener("end", keep);
  new ResizeObserver(ask).observe(canvas);
  canvas.addEventListener("webglcontextrestored", ask);
  // a copy that prints: what a browser holds on the graphics card may print blank
  const still = room.querySelector("canvas.still");
  window.addEventListener("beforeprint", () => {
    if (!still) return;
    draw();
    still.width = canvas.width;
    still.height = canvas.height;
    still.getContext("2d").drawImage(canvas, 0, 0);
  });
  room.dataset.ready = "yes";
})();
