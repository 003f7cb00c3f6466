// The plug in three dimensions: turned, zoomed and moved by mouse, touch and keys. Axes of the recipe, z up, mm.
(function () {
  "use strict";
  const room = document.getElementById("viewer");
  const held = document.getElementById("scene");
  if (!room || !held || typeof THREE === "undefined") return;
  const canvas = room.querySelector("canvas");
  const context = canvas.getContext("webgl2", { antialias: true, alpha: true });
  if (!context) return; // the pictures stay

  const find = (name) => room.querySelector("[data-part=" + name + "]");
  const unit = room.dataset.unit;
  const CREASE = Math.cos((28 * Math.PI) / 180);
  const AXES = { x: 0, y: 1, z: 2 };
  const LOOKS = {
    foam: ["#e8c98f", "#c28f3c"], finish: ["#9db8c9", "#5c7f95"], templates: ["#b98a5a", "#7d5527"],
  };
  const LAYERS = [["#ecd6a4", "#c4933f"], ["#d8b877", "#a5752b"]];
  const VIEWS = {
    quarter: [1, 0.85, 0.62], bow: [-1, -0.85, 0.62], side: [0, -1, 0], plan: [0, 0, 1], end: [1, 0, 0], front: [-1, 0, 0],
    below: [0.35, -0.35, -1],
  };

  // ---- what is shown

  const packed = JSON.parse(held.textContent);
  const low = new THREE.Vector3(...packed.low);
  const span = new THREE.Vector3(...packed.span);
  const middle = low.clone().addScaledVector(span, 0.5);
  const size = span.length();

  function bytes(text) {
    const raw = atob(text);
    const out = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
    return out.buffer;
  }

  // A corner's normal is the mean of the faces round it that lie within the crease angle of its own.
  function geometry(mesh) {
    const places = new Uint16Array(bytes(mesh.places));
    const numbers = (text) => (mesh.bits === 16 ? new Uint16Array(bytes(text)) : new Uint32Array(bytes(text)));
    const corners = numbers(mesh.corners);
    const base = [low.x, low.y, low.z];
    const step = [span.x / 65535, span.y / 65535, span.z / 65535];
    const laid = (which) => {
      const out = new Float32Array(which.length * 3);
      for (let i = 0; i < which.length; i++) {
        for (let k = 0; k < 3; k++) out[3 * i + k] = base[k] + step[k] * places[3 * which[i] + k];
      }
      return out;
    };
    const points = laid(corners);
    const count = corners.length / 3;
    const faces = new Float32Array(corners.length); // area times normal
    const sizes = new Float32Array(count);
    for (let f = 0; f < count; f++) {
      const a = 9 * f;
      const ux = points[a + 3] - points[a], uy = points[a + 4] - points[a + 1], uz = points[a + 5] - points[a + 2];
      const vx = points[a + 6] - points[a], vy = points[a + 7] - points[a + 1], vz = points[a + 8] - points[a + 2];
      faces[3 * f] = uy * vz - uz * vy;
      faces[3 * f + 1] = uz * vx - ux * vz;
      faces[3 * f + 2] = ux * vy - uy * vx;
      sizes[f] = Math.hypot(faces[3 * f], faces[3 * f + 1], faces[3 * f + 2]) || 1;
    }
    const first = new Int32Array(places.length / 3).fill(-1);
    const next = new Int32Array(corners.length);
    for (let i = 0; i < corners.length; i++) {
      next[i] = first[corners[i]];
      first[corners[i]] = i;
    }
    const normals = new Float32Array(points.length);
    for (let i = 0; i < corners.length; i++) {
      const f = Math.floor(i / 3);
      let x = 0, y = 0, z = 0;
      for (let j = first[corners[i]]; j >= 0; j = next[j]) {
        const g = Math.floor(j / 3);
        const dot = faces[3 * f] * faces[3 * g] + faces[3 * f + 1] * faces[3 * g + 1] + faces[3 * f + 2] * faces[3 * g + 2];
        if (dot >= CREASE * sizes[f] * sizes[g]) {
          x += faces[3 * g]; y += faces[3 * g + 1]; z += faces[3 * g + 2];
        }
      }
      const length = Math.hypot(x, y, z) || 1;
      normals[3 * i] = x / length; normals[3 * i + 1] = y / length; normals[3 * i + 2] = z / length;
    }
    const made = new THREE.BufferGeometry();
    made.setAttribute("position", new THREE.BufferAttribute(points, 3));
    made.setAttribute("normal", new THREE.BufferAttribute(normals, 3));
    if (mesh.tints) { // a colour to each triangle
      const tints = new Uint8Array(bytes(mesh.tints));
      const light = (part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4); // IEC 61966-2-1
      const shades = packed.palette.map((text) => [1, 3, 5].map((i) => light(parseInt(text.slice(i, i + 2), 16) / 255)));
      const colours = new Float32Array(points.length);
      for (let i = 0; i < corners.length; i++) colours.set(shades[tints[Math.floor(i / 3)]], 3 * i);
      made.setAttribute("color", new THREE.BufferAttribute(colours, 3));
    }
    const lines = new THREE.BufferGeometry();
    lines.setAttribute("position", new THREE.BufferAttribute(laid(numbers(mesh.edges)), 3));
    return [made, lines];
  }

  const scene = new THREE.Scene();
  const cut = new THREE.Plane(new THREE.Vector3(-1, 0, 0), 0);
  const materials = [];
  const groups = { foam: [], finish: [], layers: [], templates: [] };
  packed.meshes.forEach((mesh) => {
    const [colour, inside] = mesh.group === "layers" ? LAYERS[groups.layers.length % 2] : LOOKS[mesh.group];
    const [shape, lines] = geometry(mesh);
    const part = new THREE.Group();
    const skin = new THREE.MeshLambertMaterial({
      color: mesh.tints ? "#ffffff" : colour, vertexColors: Boolean(mesh.tints), polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1,
    });
    const flesh = new THREE.MeshBasicMaterial({ color: inside, side: THREE.BackSide }); // what a section lays open
    const edge = new THREE.LineBasicMaterial({ color: "#3b3325" });
    part.add(new THREE.Mesh(shape, skin), new THREE.Mesh(shape, flesh));
    part.add(new THREE.LineSegments(lines, edge));
    part.name = mesh.name;
    part.userData.apart = new THREE.Vector3(...mesh.apart);
    materials.push(skin, flesh, edge);
    groups[mesh.group].push(part);
    scene.add(part);
  });
  scene.add(new THREE.HemisphereLight("#ffffff", "#8a8a8a", 1.9));
  const lamp = new THREE.DirectionalLight("#ffffff", 1.7);
  scene.add(lamp, lamp.target);

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
    const shape = new THREE.BufferGeometry();
    shape.setAttribute("position", new THREE.BufferAttribute(new Float32Array(6 * count), 3));
    const drawn = new THREE.LineSegments(shape, new THREE.LineBasicMaterial({ color: colour }));
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

  // ---- how it is looked at

  const renderer = new THREE.WebGLRenderer({ canvas, context, antialias: true, alpha: true });
  renderer.localClippingEnabled = true;
  const camera = new THREE.OrthographicCamera(-1, 1, 1, -1, -20 * size, 20 * size);
  camera.up.set(0, 0, 1);
  // a wheel turned over a picture that nobody works in scrolls the page
  canvas.addEventListener("wheel", (event) => {
    if (document.activeElement !== canvas) event.stopImmediatePropagation();
  }, { capture: true });
  canvas.addEventListener("pointerdown", () => canvas.focus({ preventScroll: true }));
  const controls = new THREE.OrbitControls(camera, canvas);
  controls.screenSpacePanning = true;
  controls.minZoom = 0.2;
  controls.maxZoom = 40;

  const state = { show: groups.finish.length ? "finish" : "foam", only: "", apart: 0, axis: "", at: 0.5, templates: false, wire: 0 };
  let asked = false;

  function draw() {
    asked = false;
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (!width || !height) return;
    renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    renderer.setSize(width, height, false);
    frame();
    lamp.position.copy(camera.position).add(new THREE.Vector3(0.2 * size, -0.3 * size, 0.9 * size));
    lamp.target.position.copy(controls.target);
    renderer.render(scene, camera);
  }
  // at zoom 1, the ball round everything fits into the height of the picture
  function frame() {
    camera.top = 0.5 * size;
    camera.bottom = -camera.top;
    camera.right = (camera.top * canvas.clientWidth) / canvas.clientHeight;
    camera.left = -camera.right;
    camera.updateProjectionMatrix();
  }
  // the zoom at which the box round what is shown just fits, as it is seen
  function fitting(apart) {
    camera.updateMatrixWorld();
    frame();
    const across = new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, 0);
    const above = new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, 1);
    const half = span.clone().multiplyScalar(0.5).add(centreShift().multiplyScalar(state.show === "layers" ? apart : 0));
    const reach = (way) => Math.abs(way.x) * half.x + Math.abs(way.y) * half.y + Math.abs(way.z) * half.z;
    return 0.92 * Math.min(camera.right / reach(across), camera.top / reach(above));
  }
  function ask() {
    if (!asked) {
      asked = true;
      requestAnimationFrame(draw);
    }
  }
  function place(name) {
    const way = new THREE.Vector3(...VIEWS[name]).normalize();
    camera.position.copy(middle).addScaledVector(way, 2 * size);
    if (name === "plan") camera.position.y -= 0.001 * size; // so that forward is to the left
    controls.target.copy(middle);
    if (state.show === "layers") controls.target.addScaledVector(centreShift(), state.apart);
    camera.position.add(controls.target).sub(middle);
    controls.update();
    camera.zoom = fitting(state.apart);
    controls.update();
    ask();
  }
  function centreShift() {
    const last = groups.layers.length ? groups.layers[groups.layers.length - 1].userData.apart : new THREE.Vector3();
    return last.clone().multiplyScalar(0.5);
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
    "+": () => zoom(1.15), "=": () => zoom(1.15), "-": () => zoom(1 / 1.15), Home: () => place("quarter"),
  };
  canvas.addEventListener("keydown", (event) => {
    const act = KEYS[event.key];
    if (!act || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    act(event.shiftKey);
    keep();
    ask();
  });

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
  function apply() {
    const isLayers = state.show === "layers";
    for (const name of ["foam", "finish", "layers"]) {
      for (const part of groups[name]) part.visible = state.show === name && (!isLayers || !state.only || part.name === state.only);
    }
    for (const part of groups.layers) part.position.copy(part.userData.apart).multiplyScalar(state.apart);
    for (const part of groups.templates) part.visible = state.templates;
    if (state.axis) {
      const normal = [0, 0, 0];
      normal[AXES[state.axis]] = -1; // what lies before, to the left of, or under the plane stays
      cut.normal.set(...normal);
      cut.constant = sectionAt();
    }
    for (const material of materials) material.clippingPlanes = state.axis ? [cut] : [];
    for (const button of room.querySelectorAll("[data-show]")) {
      button.setAttribute("aria-pressed", String(button.dataset.show === state.show));
    }
    find("apart-row").hidden = !isLayers;
    find("at-row").hidden = !state.axis;
    const apart = find("apart"), at = find("at");
    apart.value = String(Math.round(100 * state.apart));
    apart.setAttribute("aria-valuetext", apart.value + " percent apart");
    at.value = String(Math.round(1000 * state.at));
    const words = state.axis ? state.axis + " = " + length(sectionAt()) : "";
    at.setAttribute("aria-valuetext", words);
    find("at-words").textContent = words;
    find("wire-row").hidden = !steps.length;
    find("wire").value = String(Math.round(1000 * state.wire));
    const told = moveWire(steps.length ? state.wire : 0);
    find("wire").setAttribute("aria-valuetext", told);
    find("wire-words").textContent = told;
    find("axis").value = state.axis;
    find("only").value = state.only;
    find("templates").checked = state.templates;
    ask();
  }
  function choose(change) {
    Object.assign(state, change);
    apply();
    keep();
  }
  function moveApart(value) {
    const shift = centreShift().multiplyScalar(value - state.apart); // the middle stays in the middle
    camera.zoom *= fitting(value) / fitting(state.apart);
    camera.position.add(shift);
    controls.target.add(shift);
    choose({ apart: value });
    controls.update();
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
      const shift = centreShift().multiplyScalar(state.apart);
      if (state.show === "layers") shift.negate();
      if ((state.show === "layers") !== (button.dataset.show === "layers")) {
        camera.position.add(shift);
        controls.target.add(shift);
      }
      const before = fitting(state.apart);
      choose({ show: button.dataset.show });
      camera.zoom *= fitting(state.apart) / before;
      controls.update();
    });
  }
  for (const button of room.querySelectorAll("[data-view]")) {
    button.addEventListener("click", () => { place(button.dataset.view); keep(); });
  }
  for (const part of groups.layers) {
    const option = document.createElement("option");
    option.value = option.textContent = part.name;
    find("only").append(option);
  }
  find("templates-row").hidden = !groups.templates.length;
  find("apart").addEventListener("input", (event) => moveApart(Number(event.target.value) / 100));
  find("only").addEventListener("change", (event) => choose({ only: event.target.value }));
  find("axis").addEventListener("change", (event) => choose({ axis: event.target.value }));
  find("at").addEventListener("input", (event) => choose({ at: Number(event.target.value) / 1000 }));
  find("wire").addEventListener("input", (event) => choose({ wire: Number(event.target.value) / 1000 }));
  find("templates").addEventListener("change", (event) => choose({ templates: event.target.checked }));

  room.hidden = false;
  document.documentElement.classList.add("with-3d");
  place("quarter");
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
