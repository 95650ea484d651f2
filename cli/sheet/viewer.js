"use strict";
// The turnable view of the tank. It starts when it comes near the screen, draws only when
// something changes, and leaves the still picture where there is no WebGL.
const tankView = (data, box, still, say) => {
  const [length, depth, height] = data.size;
  const bytes = (text, Kind) => {
    const raw = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    return new Kind(raw.buffer);
  };
  const STEPS = 65535;
  let THREE, renderer, scene, camera, light, waterBox, waterTop, bedGroup, canvas, labels;
  const pieces = [];
  const reset = { turn: -0.42, lift: 0.34, near: 1.12 };
  const eye = { ...reset };
  let level = data.line, turning = false, waiting = false, started = false;

  const colour = (hex) => new THREE.Color(hex).convertSRGBToLinear();

  // Specks from noise in space, so that grains need no picture and no seams show.
  function grainy(material, strength) {
    material.onBeforeCompile = (shader) => {
      shader.vertexShader = shader.vertexShader
        .replace("#include <common>", "#include <common>\nattribute float grain; varying float vGrain; varying vec3 vSpot;")
        .replace("#include <begin_vertex>", "#include <begin_vertex>\nvGrain = grain; vSpot = (modelMatrix * vec4(position, 1.0)).xyz;");
      shader.fragmentShader = shader.fragmentShader
        .replace("#include <common>", `#include <common>
          varying float vGrain; varying vec3 vSpot;
          float speck(vec3 p) { p = fract(p * 0.1031); p += dot(p, p.zyx + 31.32); return fract((p.x + p.y) * p.z); }
          float soft(vec3 p) {
            vec3 i = floor(p), f = fract(p); f = f * f * (3.0 - 2.0 * f);
            return mix(mix(mix(speck(i), speck(i + vec3(1,0,0)), f.x), mix(speck(i + vec3(0,1,0)), speck(i + vec3(1,1,0)), f.x), f.y),
                       mix(mix(speck(i + vec3(0,0,1)), speck(i + vec3(1,0,1)), f.x), mix(speck(i + vec3(0,1,1)), speck(i + vec3(1,1,1)), f.x), f.y), f.z);
          }`)
        .replace("#include <color_fragment>", `#include <color_fragment>
          float grit = soft(vSpot / vGrain) * 0.65 + soft(vSpot / (vGrain * 3.7)) * 0.35;
          diffuseColor.rgb *= 1.0 + ${strength.toFixed(2)} * (grit - 0.5);`);
    };
    return material;
  }

  function meshOf(positions, index, colours, grains, options = {}) {
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(positions, 3));
    if (colours) geometry.setAttribute("color", new THREE.BufferAttribute(colours, 3));
    geometry.setAttribute("grain", new THREE.BufferAttribute(grains, 1));
    geometry.setIndex(new THREE.BufferAttribute(index, 1));
    geometry.computeVertexNormals();
    const material = new THREE.MeshStandardMaterial({ roughness: 0.95, metalness: 0, ...options });
    const mesh = new THREE.Mesh(geometry, grainy(material, options.userData.strength));
    mesh.castShadow = mesh.receiveShadow = true;
    return mesh;
  }

  // x to the right, y up, z towards the one who looks: the front pane lies at z = 0.
  function addBed(bed) {
    const { columns, rows } = bed;
    const raw = bytes(bed.heights, Uint16Array), tops = bytes(bed.tops, Uint8Array);
    const places = new Float32Array(3 * raw.length), colours = new Float32Array(3 * raw.length);
    const grains = new Float32Array(raw.length);
    const kinds = [{ colour: "#dbe5e5", grain: 0.02 }, ...bed.layers].map((k) => ({ rgb: colour(k.colour), grain: k.grain }));
    for (let k = 0; k < raw.length; k += 1) {
      const i = k % columns, j = Math.floor(k / columns), kind = kinds[tops[k]];
      places.set([i / (columns - 1) * length, raw[k] / STEPS * height, -j / (rows - 1) * depth], 3 * k);
      colours.set([kind.rgb.r, kind.rgb.g, kind.rgb.b], 3 * k);
      grains[k] = kind.grain;
    }
    const index = new Uint32Array(6 * (columns - 1) * (rows - 1));
    let n = 0;
    for (let j = 0; j < rows - 1; j += 1) for (let i = 0; i < columns - 1; i += 1) {
      const a = j * columns + i;
      index.set([a, a + 1, a + columns + 1, a, a + columns + 1, a + columns], n);
      n += 6;
    }
    bedGroup.add(meshOf(places, index, colours, grains, { vertexColors: true, userData: { strength: 0.55 } }));
    // Along the glass each layer shows from the one below up to its own surface.
    const sides = [
      (s) => [s * length, 0], (s) => [length, -s * depth], (s) => [s * length, -depth], (s) => [0, -s * depth],
    ];
    bed.layers.forEach((layer, l) => sides.forEach((place, side) => {
      const high = bytes(layer.panes[side], Uint16Array);
      const low = l ? bytes(bed.layers[l - 1].panes[side], Uint16Array) : new Uint16Array(high.length);
      const count = high.length, wall = new Float32Array(6 * count), order = [];
      for (let k = 0; k < count; k += 1) {
        const [x, z] = place(k / (count - 1));
        wall.set([x, low[k] / STEPS * height, z, x, Math.max(low[k], high[k]) / STEPS * height, z], 6 * k);
        if (k && (high[k] > low[k] || high[k - 1] > low[k - 1])) {
          const a = 2 * k - 2;
          order.push(...(side < 2 ? [a, a + 2, a + 3, a, a + 3, a + 1] : [a, a + 3, a + 2, a, a + 1, a + 3]));
        }
      }
      if (!order.length) return;
      const mesh = meshOf(wall, new Uint32Array(order), null, new Float32Array(2 * count).fill(layer.grain), { color: colour(layer.colour), userData: { strength: 0.55 } });
      mesh.castShadow = false;
      bedGroup.add(mesh);
    }));
  }

  function addPiece(piece) {
    const raw = bytes(piece.corners, Uint16Array), places = new Float32Array(raw.length);
    let top = 0; // where its highest corner begins: its number stands there
    for (let k = 0; k < raw.length; k += 3) {
      if (raw[k + 2] > raw[top + 2]) top = k;
      const [x, y, z] = [0, 1, 2].map((a) => piece.low[a] + raw[k + a] / STEPS * piece.size[a]);
      places.set([x, z, -y], k);
    }
    const mesh = meshOf(places, bytes(piece.faces, Uint16Array), null, new Float32Array(raw.length / 3).fill(piece.grain), { color: colour(piece.colour), userData: { strength: 0.4 } });
    mesh.userData = piece;
    const label = document.createElement("span");
    label.textContent = piece.number;
    label.className = piece.buried ? "tag hidden-piece" : "tag";
    labels.append(label);
    pieces.push({ mesh, label, spot: new THREE.Vector3().fromArray(places, top), back: colour(piece.colour) });
    scene.add(mesh);
  }

  function build() {
    renderer = new THREE.WebGLRenderer({ antialias: true, alpha: true });
    renderer.outputEncoding = THREE.sRGBEncoding;
    renderer.shadowMap.enabled = true;
    renderer.shadowMap.type = THREE.PCFSoftShadowMap;
    renderer.shadowMap.autoUpdate = false;
    scene = new THREE.Scene();
    camera = new THREE.PerspectiveCamera(24, 1, 0.02, 40);
    scene.add(new THREE.HemisphereLight(0xffffff, 0xbfa98a, 0.55));
    light = new THREE.DirectionalLight(0xfff1da, 1.0);
    const reach = Math.hypot(length, depth, height) / 2;
    light.position.set(length * 0.15, height * 2.4 + reach, depth * 0.9 + reach * 0.4);
    light.target.position.set(length / 2, 0, -depth / 2);
    Object.assign(light.shadow.camera, { left: -reach, right: reach, top: reach, bottom: -reach, near: 0.01, far: 8 * reach });
    light.shadow.mapSize.set(1024, 1024);
    light.shadow.radius = 5;
    light.shadow.normalBias = 0.004;
    light.shadow.bias = -0.0006;
    scene.add(light, light.target);
    bedGroup = new THREE.Group();
    scene.add(bedGroup);
    const floor = new THREE.Mesh(new THREE.BoxGeometry(length, 0.004, depth), new THREE.MeshStandardMaterial({ color: colour("#cfdad9"), roughness: 1 }));
    floor.position.set(length / 2, -0.0025, -depth / 2);
    floor.receiveShadow = true;
    scene.add(floor);
    labels = document.createElement("div");
    labels.className = "tags";
    labels.setAttribute("aria-hidden", "true");
    if (data.bed) addBed(data.bed);
    data.pieces.forEach(addPiece);
    const edges = new THREE.LineSegments(new THREE.EdgesGeometry(new THREE.BoxGeometry(length, height, depth)), new THREE.LineBasicMaterial({ color: colour("#6fa59a") }));
    edges.position.set(length / 2, height / 2, -depth / 2);
    scene.add(edges);
    if (data.line) {
      const wet = (opacity) => new THREE.MeshBasicMaterial({ color: colour(data.water), transparent: true, opacity, depthWrite: false, side: THREE.DoubleSide });
      waterBox = new THREE.Mesh(new THREE.BoxGeometry(length * 0.999, 1, depth * 0.999), wet(0.05));
      waterTop = new THREE.Mesh(new THREE.PlaneGeometry(length, depth).rotateX(-Math.PI / 2), wet(0.15));
      scene.add(waterBox, waterTop);
    }
    canvas = renderer.domElement;
    canvas.setAttribute("aria-hidden", "true");
  }

  function draw() {
    waiting = false;
    const wide = box.clientWidth, high = box.clientHeight;
    const dots = Math.min(devicePixelRatio || 1, 2);
    if (canvas.width !== Math.floor(wide * dots) || canvas.height !== Math.floor(high * dots)) {
      renderer.setPixelRatio(dots);
      renderer.setSize(wide, high, false);
      camera.aspect = wide / high;
      camera.updateProjectionMatrix();
    }
    // Far enough that all of the tank is seen, whatever the shape of the window.
    const half = Math.tan(camera.fov * Math.PI / 360);
    const level_ = Math.abs(Math.sin(eye.lift)), across = Math.abs(Math.cos(eye.turn)) * length + Math.abs(Math.sin(eye.turn)) * depth;
    const along = Math.abs(Math.sin(eye.turn)) * length + Math.abs(Math.cos(eye.turn)) * depth;
    const up = Math.cos(eye.lift) * height + level_ * along;
    const far = (Math.max(up / 2 / half, across / 2 / half / camera.aspect) * 1.08 + along / 2 * Math.cos(eye.lift) + height / 2 * level_) / eye.near;
    const middle = new THREE.Vector3(length / 2, height / 2, -depth / 2);
    camera.position.set(Math.sin(eye.turn) * Math.cos(eye.lift), Math.sin(eye.lift), Math.cos(eye.turn) * Math.cos(eye.lift)).multiplyScalar(far).add(middle);
    camera.up.set(-Math.sin(eye.turn) * Math.sin(eye.lift), Math.cos(eye.lift), -Math.cos(eye.turn) * Math.sin(eye.lift));
    camera.lookAt(middle);
    if (waterBox) {
      waterBox.visible = waterTop.visible = showsWater && level > 0.001;
      waterBox.scale.y = Math.max(level, 0.001);
      waterBox.position.set(length / 2, level / 2, -depth / 2);
      waterTop.position.set(length / 2, level, -depth / 2);
    }
    renderer.render(scene, camera);
    placeLabels(wide, high);
    if (turning) { eye.turn += 0.008; ask(); }
  }

  function placeLabels(wide, high) {
    const taken = [];
    const found = pieces.map((p) => {
      const at = p.spot.clone().project(camera);
      return { p, x: (at.x + 1) / 2 * wide, y: (1 - at.y) / 2 * high, near: at.z };
    }).sort((a, b) => a.near - b.near);
    for (const { p, x, y } of found) {
      // The nearest keeps its place; one that it covers goes up, and else waits for a turn.
      const lift = [0, 1, 2, 3].find((k) => !taken.some(([a, b]) => Math.abs(a - x) < 26 && Math.abs(b - y + 22 * k) < 22));
      p.label.hidden = lift === undefined || !showsNumbers || (p.mesh.userData.buried && bedGroup.visible);
      if (p.label.hidden) continue;
      taken.push([x, y - 22 * lift]);
      p.label.style.transform = `translate(${Math.round(x)}px, ${Math.round(y - 22 * lift)}px) translate(-50%, -50%)`;
    }
  }

  let showsWater = true, showsNumbers = true;
  const ask = () => { if (started && !waiting) { waiting = true; requestAnimationFrame(draw); } };
  const shadows = () => { if (started) renderer.shadowMap.needsUpdate = true; };

  function turnBy(right, down) {
    turning = false;
    eye.turn -= right * 0.008;
    eye.lift = Math.min(Math.PI / 2, Math.max(-0.15, eye.lift + down * 0.006));
    ask();
  }
  const nearer = (by) => { eye.near = Math.min(5, Math.max(0.6, eye.near * by)); ask(); };
  function look(how) {
    turning = how === "turn" ? !turning : false;
    if (how === "front") Object.assign(eye, { turn: 0, lift: 0.04, near: 1 });
    if (how === "top") Object.assign(eye, { turn: 0, lift: Math.PI / 2, near: 1 });
    if (how === "reset") Object.assign(eye, reset);
    if (how === "nearer") nearer(1.25);
    if (how === "farther") nearer(0.8);
    ask();
    return turning;
  }

  function listen() {
    let held = null;
    box.addEventListener("pointerdown", (e) => {
      if (e.pointerType === "touch") return;
      held = { x: e.clientX, y: e.clientY };
      box.setPointerCapture(e.pointerId);
    });
    box.addEventListener("pointermove", (e) => {
      if (!held || e.pointerType === "touch") return;
      turnBy(e.clientX - held.x, e.clientY - held.y);
      held = { x: e.clientX, y: e.clientY };
    });
    for (const end of ["pointerup", "pointercancel"]) box.addEventListener(end, () => { held = null; });
    // One finger scrolls the page; two turn the view, and pinch to come nearer.
    const two = (e) => ({
      x: (e.touches[0].clientX + e.touches[1].clientX) / 2, y: (e.touches[0].clientY + e.touches[1].clientY) / 2,
      apart: Math.hypot(e.touches[0].clientX - e.touches[1].clientX, e.touches[0].clientY - e.touches[1].clientY),
    });
    let fingers = null;
    box.addEventListener("touchstart", (e) => {
      fingers = e.touches.length === 2 ? two(e) : null;
      if (fingers) e.preventDefault();
    }, { passive: false });
    box.addEventListener("touchmove", (e) => {
      if (e.touches.length !== 2 || !fingers) return;
      e.preventDefault();
      const now = two(e);
      turnBy(now.x - fingers.x, now.y - fingers.y);
      nearer(now.apart / Math.max(20, fingers.apart));
      fingers = now;
    }, { passive: false });
    box.addEventListener("touchend", () => { fingers = null; });
    box.addEventListener("wheel", (e) => {
      if (!e.ctrlKey) return; // the page scrolls on
      e.preventDefault();
      nearer(e.deltaY < 0 ? 1.12 : 0.9);
    }, { passive: false });
    box.addEventListener("keydown", (e) => {
      const turns = { ArrowLeft: [-12, 0], ArrowRight: [12, 0], ArrowUp: [0, -12], ArrowDown: [0, 12] }[e.key];
      const looks = { f: "front", t: "top", u: "turn", r: "reset", "+": "nearer", "-": "farther" }[e.key];
      if (!turns && !looks) return;
      e.preventDefault();
      if (turns) turnBy(...turns); else look(looks);
    });
    box.addEventListener("click", (e) => {
      const where = box.getBoundingClientRect();
      const spot = new THREE.Vector2((e.clientX - where.left) / where.width * 2 - 1, 1 - (e.clientY - where.top) / where.height * 2);
      const ray = new THREE.Raycaster();
      ray.setFromCamera(spot, camera);
      const hit = ray.intersectObjects([...pieces.map((p) => p.mesh), ...(bedGroup.visible ? bedGroup.children : [])])[0];
      if (hit && hit.object.userData.number) choose(hit.object.userData.number);
    });
    new ResizeObserver(ask).observe(box);
  }

  function choose(number) {
    for (const p of pieces) {
      const chosen = p.mesh.userData.number === number;
      p.mesh.material.emissive.set(chosen ? 0x3a2f10 : 0x000000);
      p.label.classList.toggle("chosen", chosen);
    }
    ask();
    say(number);
  }

  function start() {
    if (started) return true;
    try {
      const code = document.getElementById("three");
      const script = document.createElement("script");
      script.textContent = code.textContent;
      document.head.append(script);
      THREE = window.THREE;
      build();
    } catch (error) {
      box.dataset.live = "no";
      return false; // the still picture stays
    }
    started = true;
    still.remove();
    box.append(canvas, labels);
    listen();
    shadows();
    ask();
    box.dataset.live = "yes";
    return true;
  }

  return {
    start, look, choose,
    setLevel(metres) { level = metres; ask(); },
    setMoving(numbers) {
      if (!started) return;
      for (const p of pieces) p.mesh.material.color.copy(numbers.includes(p.mesh.userData.number) ? colour("#d81b60") : p.back);
      ask();
    },
    show(what, on) {
      if (what === "bed" && started) { bedGroup.visible = on; shadows(); }
      if (what === "water") showsWater = on;
      if (what === "numbers") showsNumbers = on;
      ask();
    },
  };
};
