// The interactive view of a solved joint. What is drawn, and nearly all that is said of it, comes from scene.py.
(() => {
  "use strict";

  const at = (id) => document.getElementById(`scene-${id}`);
  const view = document.querySelector("div#scene");
  const source = document.getElementById("scene-data");
  if (!view || !source) return;
  const block = document.querySelector(".interactive-view");
  const data = JSON.parse(source.textContent);

  const START = { azimuth: -0.31, elevation: 0.44 }; // radians, from straight in front
  // Radians a key and a pixel, pixels that are no drag, parts of the height a key, times a key, radians.
  const TURN = 0.15, DRAG = 0.007, STILL = 3, SHIFT = 0.08, NEARER = 1.25, STEEPEST = 1.5;
  const FILLED = 0.93; // of the picture, by the joint
  const OFF = 0.0008; // of the picture: lines stand off the faces they lie on, so that they are whole
  const PLACE = "scene2"; // the library's name for what it draws, also an id: "scene" is that of the element around it
  const ARM = 34; // pixels, of the axes' cross

  const state = {
    stress: "peel", look: 0, stretch: 1, amount: 1, apart: 0, ribbon: "none", step: 0,
    seeThrough: false, hidden: new Set(),
    azimuth: START.azimuth, elevation: START.elevation, zoom: 1, centre: { x: 0, y: 0, z: 0 },
  };
  let drawn = null; // what the last picture was made of: { traces, spots, half }
  let told = null; // the piece that the value line speaks of
  let pending = false, aiming = 0;
  const pointer = { x: 0, y: 0 };

  // ---- reading the arrays -------------------------------------------------

  const TYPES = { uint16: Uint16Array, uint32: Uint32Array, float32: Float32Array };

  function bytes(text, Type) {
    const raw = atob(text);
    const made = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i++) made[i] = raw.charCodeAt(i);
    return new Type(made.buffer);
  }

  function numbers(packed) {
    const whole = bytes(packed.data, TYPES[packed.type]);
    if (packed.type === "float32") return whole;
    const values = Float64Array.from(whole, (n) => packed.low + packed.step * n);
    if (packed.at) {
      const beyond = bytes(packed.beyond, Float32Array);
      bytes(packed.at, Uint32Array).forEach((place, i) => { values[place] = beyond[i]; });
    }
    return values;
  }

  const indices = (packed) => bytes(packed.data, TYPES[packed.type]);

  // Each array is decoded when it is first drawn.
  const kept = new Map();
  function once(packed, decode) {
    if (!kept.has(packed)) kept.set(packed, decode(packed));
    return kept.get(packed);
  }

  const facesOf = new Map();
  function faces(piece, part) {
    if (facesOf.has(part)) return facesOf.get(part);
    const cells = once(piece.cells, indices), inside = indices(part.inside), cut = indices(part.triangles);
    const size = data.grid.length ** 2, found = [];
    for (const cell of inside) {
      const node = (row, column) => cells[cell * size + data.grid[row][column]];
      for (let row = 0; row + 1 < data.grid.length; row++) {
        for (let column = 0; column + 1 < data.grid.length; column++) {
          const a = node(row, column), b = node(row, column + 1), c = node(row + 1, column + 1), d = node(row + 1, column);
          found.push(a, b, c, a, c, d);
        }
      }
    }
    for (const node of cut) found.push(node);
    facesOf.set(part, Uint32Array.from(found));
    return facesOf.get(part);
  }

  // ---- what is looked at ----------------------------------------------------

  const look = () => data.looks[state.look];
  const current = () => look().views.find((one) => one.stretch === state.stretch) || look().views[0];
  const shown = () => data.shown[current().shown];
  const stress = () => data.stresses.find((one) => one.key === state.stress);
  const visible = () => data.pieces.filter((piece) => !state.hidden.has(piece));
  const adherendsGone = () => visible().every((piece) => piece.adhesive);
  const seenThrough = (piece) => state.seeThrough && !piece.adhesive;
  // A plastic strain is one of regions that may yield: a colour would say that the others might have, and did not.
  const coloured = (piece) => !seenThrough(piece) && (!stress().regions || stress().regions.includes(piece.region));
  const frame = () => current().frames[adherendsGone() ? 1 : 0];
  const scale = () => state.amount * frame().scale;
  const gap = () => state.apart * current().gap;
  const cut = () => shown().limits[state.stress][adherendsGone() || state.seeThrough ? 1 : 0];

  function fine(value, digits = 3) {
    if (value === 0) return "0";
    const text = Number(value.toPrecision(digits));
    const written = Math.abs(text) >= 1e7 || Math.abs(text) < 1e-4 ? text.toExponential() : String(text);
    return written.replace(/^-/, "\u2212");
  }
  const asLength = (mm, digits) => `${fine(mm * data.length.factor, digits)} ${data.length.unit}`;
  // No more digits than the arrays hold: those of a step (none of single precision).
  const held = (value, step, most = 4) => (step && value ? Math.max(1, Math.min(most, 1 + Math.floor(Math.log10(Math.abs(value) / step)))) : most);
  const written = (value, step, { factor, unit }) => `${fine(value * factor, held(value, step))} ${unit}`.trim();
  const asStress = (mpa, step) => written(mpa, step, data.stress);
  const asShown = (value, step) => written(value, step, stress());
  const filled = (words, ...values) => values.reduce((text, value) => text.replace("{}", () => value), words);

  // ---- the picture ----------------------------------------------------------

  function build() {
    const box = [[Infinity, -Infinity], [Infinity, -Infinity], [Infinity, -Infinity]];
    const taken = (axis, values) => {
      for (const value of values) {
        if (value < box[axis][0]) box[axis][0] = value;
        if (value > box[axis][1]) box[axis][1] = value;
      }
    };
    const bodies = visible().map((piece) => body(piece)).filter((one) => one.faces.length);
    for (const one of bodies) {
      for (const node of one.used) {
        taken(0, [one.x[node], one.flat.x[node]]);
        taken(1, [one.y[node], one.flat.y[node]]);
      }
    }
    taken(2, [0, shown().width]);
    const raised = bodies.length ? ribbons(box[1][1]) : [];
    for (const one of raised) taken(1, [...one.y, one.base]);
    if (!bodies.length) box.splice(0, 3, [0, 1], [0, 1], [0, 1]);
    const off = OFF * Math.max(...box.map(([low, high], axis) => (high - low) * (axis === 1 ? state.stretch : 1)));
    // What lies without the limits of the axes is not drawn.
    box.forEach((limits, axis) => { const room = 1.5 * off / (axis === 1 ? state.stretch : 1); limits[0] -= room; limits[1] += room; });
    const lines = new Lines(off);
    const traces = [], spots = [];
    for (const one of bodies) {
      traces.push(solid(one));
      spots.push({ piece: one });
      outline(lines, one);
    }
    for (const one of raised) {
      traces.push(strip(one));
      spots.push({ ribbon: one });
      lines.strip(one);
    }
    traces.push(...lines.traces());
    return { traces, spots, box, empty: !bodies.length };
  }

  function body(piece) {
    const part = piece.parts[current().shown], step = piece.steps[state.step];
    const x = once(piece.x, numbers), y = once(piece.y, numbers), ux = once(step.ux, numbers), uy = once(step.uy, numbers);
    const { centre, motion } = frame(), times = scale(), lift = piece.rank * gap(), n = x.length;
    const moved = { x: new Float64Array(n), y: new Float64Array(n) }, flat = { x, y: y.map((value) => value + lift) };
    for (let i = 0; i < n; i++) {
      moved.x[i] = x[i] + times * (ux[i] - motion[0] + motion[2] * (y[i] - centre[1]));
      moved.y[i] = y[i] + times * (uy[i] - motion[1] - motion[2] * (x[i] - centre[0])) + lift;
    }
    const all = faces(piece, part);
    return { piece, part, step, ...moved, flat, faces: all, used: new Set(all), edges: indices(part.edges), corners: indices(part.corners) };
  }

  // Front and back and, along the outline, what lies between them.
  function solid(one) {
    const numbersOf = new Map([...one.used].map((node, i) => [node, i]));
    const nodes = [...one.used], n = nodes.length, width = shown().width;
    const pick = (values) => { const both = new Float64Array(2 * n); nodes.forEach((node, i) => { both[i] = both[n + i] = values[node]; }); return both; };
    const i = [], j = [], k = [];
    const add = (a, b, c) => { i.push(a); j.push(b); k.push(c); };
    for (let f = 0; f < one.faces.length; f += 3) {
      const [a, b, c] = [one.faces[f], one.faces[f + 1], one.faces[f + 2]].map((node) => numbersOf.get(node));
      add(a, c, b);
      add(n + a, n + b, n + c);
    }
    for (let e = 0; e < one.edges.length; e += 2) {
      const a = numbersOf.get(one.edges[e]), b = numbersOf.get(one.edges[e + 1]);
      add(a, b, n + b);
      add(a, n + b, n + a);
    }
    one.nodes = nodes;
    const z = new Float64Array(2 * n).fill(width, n);
    const trace = { type: "mesh3d", scene: PLACE, name: one.piece.label, x: pick(one.x), y: pick(one.y), z, i, j, k, flatshading: true, hoverinfo: "none", showscale: false, showlegend: false };
    trace.lighting = { ambient: 1, diffuse: 0, specular: 0, roughness: 1, fresnel: 0 };
    if (coloured(one.piece)) {
      const limit = cut().limit, map = data.maps[stress().signed ? "signed" : "unsigned"];
      trace.opacity = 1;
      trace.intensity = pick(once(one.step.stresses[state.stress], numbers));
      Object.assign(trace, { cmin: stress().signed ? -limit : 0, cmax: limit, colorscale: map.map((colour, c) => [c / (map.length - 1), colour]) });
    } else {
      Object.assign(trace, plain(2 * n, data.inks.metal), { opacity: seenThrough(one.piece) ? 0.35 : 1 });
    }
    return trace;
  }

  // One colour, as a map: the library keeps the last map of a surface that has none.
  const plain = (n, colour) => ({ intensity: new Float64Array(n), cmin: 0, cmax: 1, colorscale: [[0, colour], [1, colour]], opacity: 1 });

  function outline(lines, one) {
    const width = shown().width;
    // A layer that is thin in the picture must not vanish between its outlines.
    const thin = one.piece.adhesive ? " thin" : "";
    for (const [ink, places] of [[`undeformed${thin}`, one.flat], [`deformed${thin}`, one]]) {
      const out = outwards(one.edges, places), put = (node, z, side) => {
        const [nx, ny] = out.get(node);
        return [places.x[node] + lines.off * nx, places.y[node] + (lines.off * ny) / state.stretch, z + side * lines.off];
      };
      for (let e = 0; e < one.edges.length; e += 2) {
        const a = one.edges[e], b = one.edges[e + 1];
        lines.add(ink, [put(a, 0, -1), put(b, 0, -1)]);
        lines.add(ink, [put(a, width, 1), put(b, width, 1)]);
      }
      for (const node of one.corners) lines.add(ink, [put(node, 0, -1), put(node, width, 1)]);
    }
  }

  // The directions that lead away from what an outline goes round, by its nodes, as it is drawn.
  function outwards(edges, places) {
    const sums = new Map();
    for (let e = 0; e < edges.length; e += 2) {
      const a = edges[e], b = edges[e + 1];
      const dx = places.x[b] - places.x[a], dy = (places.y[b] - places.y[a]) * state.stretch, length = Math.hypot(dx, dy) || 1;
      for (const node of [a, b]) {
        const [x, y] = sums.get(node) || [0, 0];
        sums.set(node, [x + dy / length, y - dx / length]);
      }
    }
    for (const [node, [x, y]] of sums) sums.set(node, [x / (Math.hypot(x, y) || 1), y / (Math.hypot(x, y) || 1)]);
    return sums;
  }

  const choice = () => shown().ribbon.choices[state.ribbon];
  const chosen = () => (choice() ? shown().ribbon.ribbons.filter(({ stress }) => stress in choice().bases) : []);

  // Heights of ribbons are on the scale of the length, above what is drawn.
  function ribbons(top) {
    return chosen().flatMap((ribbon) => {
      const { bases, high } = choice(), height = (value) => top + (bases[ribbon.stress] + high * value) / state.stretch;
      return ribbon.curves.map((curve, k) => {
        const values = ribbon.steps.length ? ribbon.steps[state.step][k] : curve.values;
        return { ...ribbon, ...curve, values, y: values.map(height), base: height(0) };
      });
    });
  }

  function strip(one) {
    const n = one.x.length, i = [], j = [], k = [];
    for (let a = 0; a + 1 < n; a++) {
      i.push(a, a);
      j.push(a + 1, n + a + 1);
      k.push(n + a + 1, n + a);
    }
    const z = [...one.x.map(() => one.z[0]), ...one.x.map(() => one.z[1])];
    return {
      type: "mesh3d", scene: PLACE, name: one.stress, x: [...one.x, ...one.x], y: [...one.y, ...one.y], z, i, j, k, ...plain(2 * n, one.colour),
      flatshading: true, hoverinfo: "none", showscale: false, showlegend: false, lighting: { ambient: 1, diffuse: 0, specular: 0, roughness: 1, fresnel: 0 },
    };
  }

  // Lines of one ink are one trace, with gaps between.
  class Lines {
    constructor(off) {
      this.off = off;
      this.inks = {};
    }

    add(ink, places) {
      const trace = (this.inks[ink] ||= { x: [], y: [], z: [] });
      for (const [x, y, z] of places) {
        trace.x.push(x);
        trace.y.push(y);
        trace.z.push(z);
      }
      for (const axis of ["x", "y", "z"]) trace[axis].push(null);
    }

    strip(one) {
      for (const z of one.z) {
        const edge = z + (z === one.z[0] ? -0.5 : 0.5) * this.off;
        this.add("deformed", one.x.map((x, i) => [x, one.y[i], edge]));
        this.add("faint", [[one.x[0], one.base, z], [one.x.at(-1), one.base, z]]);
      }
      for (const i of [0, one.x.length - 1]) {
        this.add("deformed", one.z.map((z) => [one.x[i], one.y[i], z]));
        this.add("faint", [[one.x[i], one.base, one.z[0]], [one.x[i], one.base, one.z[1]]]);
        for (const z of one.z) this.add("faint", [[one.x[i], one.base, z], [one.x[i], one.y[i], z]]);
      }
    }

    traces() {
      const width = { deformed: 2.5, undeformed: 2, faint: 1.5, "deformed thin": 1, "undeformed thin": 1 };
      return Object.entries(this.inks).map(([ink, places]) => ({
        type: "scatter3d", scene: PLACE, mode: "lines", ...places, line: { color: data.inks[ink.split(" ")[0]], width: width[ink] }, hoverinfo: "skip", showlegend: false,
      }));
    }
  }

  // ---- where the eye is -----------------------------------------------------

  function direction() {
    const flat = Math.cos(state.elevation);
    return { x: flat * Math.sin(state.azimuth), y: Math.sin(state.elevation), z: flat * Math.cos(state.azimuth) };
  }

  // The drawing library shows from -1 to 1 in height, of a box as large as its aspect ratio.
  function sight() {
    const size = drawn.box.map(([low, high], axis) => Math.max(high - low, 1e-9) * (axis === 1 ? state.stretch : 1));
    const shape = view.clientWidth / view.clientHeight;
    // However it is turned to the sides, the joint stays in the picture.
    const across = Math.hypot(size[0], size[2]) / 2;
    const eye = direction(), level = Math.abs(eye.y), upright = Math.sqrt(1 - level * level) || 1e-9;
    const height = (size[1] * upright + level * (size[0] * Math.abs(eye.x) + size[2] * Math.abs(eye.z)) / upright) / 2;
    const times = state.zoom * Math.min((FILLED * shape) / across, FILLED / height);
    const aspect = { x: times * size[0], y: times * size[1], z: times * size[2] };
    const far = 1 + 2 * Math.hypot(aspect.x, aspect.y, aspect.z), c = state.centre;
    const centre = { x: c.x * times, y: c.y * times, z: c.z * times };
    return {
      aspect, times,
      camera: {
        up: { x: 0, y: 1, z: 0 }, center: centre, projection: { type: "orthographic" },
        eye: { x: centre.x + far * eye.x, y: centre.y + far * eye.y, z: centre.z + far * eye.z },
      },
    };
  }

  function layout() {
    const { aspect, camera } = sight();
    // Visible, but with nothing to see: of an invisible axis the library would still make the texts, which takes seconds.
    const axis = (range) => ({
      visible: true, showspikes: false, autorange: false, range, title: { text: "" }, showticklabels: false, showgrid: false, showline: false,
      showbackground: false, zeroline: false, ticks: "", tickmode: "array", tickvals: [],
    });
    return {
      width: view.clientWidth, height: view.clientHeight, margin: { l: 0, r: 0, t: 0, b: 0 }, paper_bgcolor: "#fff", showlegend: false,
      hovermode: "closest", font: { family: getComputedStyle(view).fontFamily },
      [PLACE]: {
        aspectmode: "manual", aspectratio: aspect, camera, dragmode: false, hovermode: "closest", bgcolor: "#fff",
        xaxis: axis(drawn.box[0]), yaxis: axis(drawn.box[1]), zaxis: axis(drawn.box[2]),
      },
    };
  }

  const CONFIG = { displayModeBar: false, displaylogo: false, scrollZoom: false, responsive: false, doubleClick: false, showTips: false };

  async function draw() {
    drawn = build();
    await Plotly.react(view, drawn.traces, layout(), CONFIG);
    words();
  }

  // However often something changes, it is drawn once a frame.
  function redraw() {
    if (pending) return;
    pending = true;
    requestAnimationFrame(() => { pending = false; draw().catch(failed); });
  }

  function aim() {
    aiming ||= requestAnimationFrame(() => {
      const { aspect, camera } = sight();
      aiming = 0;
      at("tip").hidden = true;
      Plotly.relayout(view, { [`${PLACE}.camera`]: camera, [`${PLACE}.aspectratio`]: aspect }).catch(failed);
      name();
    });
  }

  function turn(azimuth, elevation) {
    state.azimuth += azimuth * TURN;
    state.elevation = Math.max(-STEEPEST, Math.min(STEEPEST, state.elevation + elevation * TURN));
    aim();
  }

  function nearer(times) {
    state.zoom = Math.max(0.2, Math.min(200, state.zoom * times));
    aim();
  }

  function reset() {
    Object.assign(state, START, { zoom: 1, centre: { x: 0, y: 0, z: 0 } });
    aim();
  }

  // The directions of the axes, in a corner of the picture.
  function cross() {
    const a = state.azimuth, e = state.elevation;
    const ends = {
      x: [Math.cos(a), -Math.sin(e) * Math.sin(a)], y: [0, Math.cos(e)], z: [-Math.sin(a), -Math.sin(e) * Math.cos(a)],
    };
    for (const [axis, [right, up]] of Object.entries(ends)) {
      const line = at(`axis-${axis}`), letter = at(`letter-${axis}`), length = Math.hypot(right, up) || 1;
      line.setAttribute("x2", ARM * right);
      line.setAttribute("y2", -ARM * up);
      letter.setAttribute("x", ARM * right + (11 * right) / length);
      letter.setAttribute("y", -ARM * up - (11 * up) / length);
    }
  }

  // Moves what is seen by parts of the picture's height.
  function shift(right, up) {
    const { times } = sight(), a = state.azimuth, e = state.elevation, c = state.centre;
    const across = { x: Math.cos(a), y: 0, z: -Math.sin(a) };
    const upwards = { x: -Math.sin(e) * Math.sin(a), y: Math.cos(e), z: -Math.sin(e) * Math.cos(a) };
    for (const axis of ["x", "y", "z"]) c[axis] -= (2 * (right * across[axis] + up * upwards[axis])) / times;
    aim();
  }

  function dragging() {
    let last = null;
    view.addEventListener("pointerdown", (event) => {
      if (event.button > 2) return;
      last = { x: event.clientX, y: event.clientY, shifts: event.shiftKey || event.button !== 0 };
    });
    view.addEventListener("pointermove", (event) => {
      Object.assign(pointer, { x: event.clientX, y: event.clientY });
      if (!last || !event.buttons) return;
      const dx = event.clientX - last.x, dy = event.clientY - last.y;
      if (!view.hasPointerCapture(event.pointerId)) {
        if (Math.hypot(dx, dy) < STILL) return; // a click
        view.setPointerCapture(event.pointerId);
      }
      Object.assign(last, { x: event.clientX, y: event.clientY });
      at("tip").hidden = true;
      if (last.shifts) shift(dx / view.clientHeight, -dy / view.clientHeight);
      else turn((-dx * DRAG) / TURN, (dy * DRAG) / TURN);
    });
    for (const kind of ["pointerup", "pointercancel"]) view.addEventListener(kind, () => { last = null; });
    view.addEventListener("contextmenu", (event) => event.preventDefault());
  }

  // ---- words ----------------------------------------------------------------

  function notes() {
    const { motion } = frame(), words = data.notes, said = [];
    if (drawn.empty) return [words.empty];
    const moved = motion.some((part) => part !== 0) ? words.motion : "";
    said.push(state.amount === 0 ? words.still : filled(words.scale, fine(scale()), moved));
    said.push(state.stretch === 1 ? words.true : filled(words.stretched, fine(state.stretch)), shown().note);
    const [first, ...rest] = cut().notes, range = ranges();
    said.push(first);
    if (range) said.push(filled(words.range, ...range));
    said.push(...rest);
    if (gap() > 0) said.push(filled(words.apart, asLength(gap())));
    return [...said, ...words.always];
  }

  // The lowest and the highest value of what is shown and coloured, where colours end before.
  function ranges() {
    const ends = visible().filter(coloured).map((piece) => piece.steps[state.step].ranges[current().shown]).filter(Boolean).map((of) => of[state.stress]);
    if (!ends.length) return null;
    const low = Math.min(...ends.map((end) => end[0])), high = Math.max(...ends.map((end) => end[1]));
    if (Math.max(-low, high) <= cut().limit * (1 + 1e-5)) return null; // six digits are written
    return [fine(low * stress().factor), asShown(high)];
  }

  // What is hidden is not spoken of any more.
  function forget() {
    if (!told || !state.hidden.has(told)) return;
    told = null;
    at("value").textContent = data.notes.value;
    at("tip").hidden = true;
  }

  function words() {
    forget();
    const limit = cut().limit, signed = stress().signed, map = data.maps[signed ? "signed" : "unsigned"];
    at("bar-label").textContent = stress().unit ? `${stress().label}, ${stress().unit}` : stress().label;
    at("colours").style.background = `linear-gradient(to right, ${map.join(", ")})`;
    const ticks = (signed ? [-1, -0.5, 0, 0.5, 1] : [0, 0.25, 0.5, 0.75, 1]).map((part) => fine(part * limit * stress().factor));
    at("colours").setAttribute("aria-label", `Colours from ${ticks[0]} to ${ticks[4]} ${stress().unit}`.trim());
    at("ticks").replaceChildren(...ticks.map((text) => element("span", text)));
    const items = notes().map((text) => element("li", text));
    if (chosen().length && !drawn.empty) {
      const item = element("li", choice().note), names = new Map(chosen().map((ribbon) => [ribbon.name, ribbon.colour]));
      for (const [line, colour] of names) {
        const key = element("span", "");
        key.className = "scene-key";
        key.style.background = colour;
        item.append(" ", key, line);
      }
      items.push(item);
    }
    at("notes").replaceChildren(...items);
    at("scale-value").textContent = state.amount === 0 ? "not drawn" : `drawn ${fine(scale())} times`;
    at("apart-value").textContent = gap() > 0 ? `by ${asLength(gap())}` : "together, as they are";
    at("step-value").textContent = data.steps[state.step];
    name();
  }

  function name() {
    cross();
    const degrees = Math.round((state.azimuth * 180) / Math.PI), turned = ((degrees + 180) % 360 + 360) % 360 - 180;
    const side = turned === 0 ? "the front" : `${Math.abs(turned)} degrees to the ${turned < 0 ? "left" : "right"} of the front`;
    const raised = Math.round((state.elevation * 180) / Math.PI), height = raised < 0 ? `${-raised} degrees below` : `${raised} degrees above`;
    view.setAttribute("aria-label", `The joint in 3D: ${stress().label}, ${look().label}, seen from ${side}, ${height}.`);
  }

  // ---- values ---------------------------------------------------------------

  function reading(point) {
    const spot = drawn.spots[point.curveNumber];
    if (!spot) return null;
    if (spot.ribbon) {
      const { stress: kind, name: line, x, values } = spot.ribbon, i = point.pointNumber % x.length;
      return `${kind} along ${line}: ${asStress(values[i])}, x = ${asLength(x[i], 4)}`;
    }
    const { piece, nodes, step } = spot.piece, node = nodes[point.pointNumber % nodes.length];
    const axes = [piece.x, piece.y], place = axes.map((packed) => once(packed, numbers)[node]);
    const [x, y] = place.map((value, axis) => fine(value * data.length.factor, held(value, axes[axis].step)));
    // The middle of the layer, as far as the reach from a square end's corners, is not meant: places are rounded.
    const reach = data.singular.reach - Math.max(1e-5, ...axes.map((packed) => packed.step || 0));
    const near = data.singular.corners.some((corner) => Math.hypot(place[0] - corner[0], place[1] - corner[1]) < reach);
    const packed = step.stresses[state.stress];
    return `${stress().label}: ${asShown(once(packed, numbers)[node], packed.step)}, x = ${x}, y = ${y} ${data.length.unit} (undeformed), ${piece.label}${near ? `, ${data.notes.singular}` : ""}`;
  }

  function hovered(event) {
    const text = reading(event.points[0]);
    if (!text) return;
    const tip = at("tip"), frameBox = view.getBoundingClientRect();
    tip.textContent = text;
    tip.hidden = false;
    const x = pointer.x - frameBox.left, y = pointer.y - frameBox.top;
    tip.style.left = `${Math.max(0, Math.min(x + 14, view.clientWidth - tip.offsetWidth - 2))}px`;
    tip.style.top = `${y > tip.offsetHeight + 16 ? y - tip.offsetHeight - 12 : y + 18}px`;
    at("value").textContent = text;
    told = drawn.spots[event.points[0].curveNumber].piece?.piece || null;
  }

  // ---- controls -------------------------------------------------------------

  function element(tag, text) {
    const made = document.createElement(tag);
    made.textContent = text;
    return made;
  }

  function options(select, pairs, chosen) {
    select.replaceChildren(...pairs.map(([value, text]) => {
      const option = element("option", text);
      option.value = value;
      return option;
    }));
    select.value = chosen;
  }

  function stretches() {
    const offered = look().views.map((one) => one.stretch);
    if (!offered.includes(state.stretch)) state.stretch = 1;
    options(at("stretch"), offered.map((times) => [times, times === 1 ? "to the scale of the length" : `drawn ${times} times`]), state.stretch);
  }

  function fit() {
    Object.assign(state, { zoom: 1, centre: { x: 0, y: 0, z: 0 } });
    redraw();
  }

  function on(id, kind, change) {
    at(id).addEventListener(kind, () => change(at(id)));
  }

  function pieces() {
    at("pieces").replaceChildren(...data.pieces.map((piece) => {
      const label = document.createElement("label"), input = document.createElement("input");
      input.type = "checkbox";
      input.checked = true;
      input.dataset.piece = piece.label;
      input.addEventListener("change", () => {
        if (input.checked) state.hidden.delete(piece); else state.hidden.add(piece);
        // Something stays to be seen.
        if (!visible().length) { state.hidden.delete(piece); input.checked = true; }
        redraw();
      });
      label.append(input, ` ${piece.label}`);
      return label;
    }));
  }

  function controls() {
    options(at("stress"), data.stresses.map(({ key, label }) => [key, label]), state.stress);
    options(at("look"), data.looks.map(({ key, label }) => [key, label]), look().key);
    options(at("ribbon"), [["none", "none"], ...data.ribbons.map(({ key, label }) => [key, label])], "none");
    stretches();
    pieces();
    at("scale").max = data.largest_scale;
    at("scale").value = state.amount;
    at("apart").value = state.apart;
    at("see-through").checked = state.seeThrough;
    at("step").max = data.steps.length - 1;
    at("step").value = state.step = data.steps.length - 1;
    at("step-field").hidden = data.steps.length < 2;
    on("stress", "change", (field) => { state.stress = field.value; redraw(); });
    on("look", "change", (field) => { state.look = data.looks.findIndex(({ key }) => key === field.value); stretches(); fit(); });
    on("stretch", "change", (field) => { state.stretch = Number(field.value); fit(); });
    on("ribbon", "change", (field) => { state.ribbon = field.value; fit(); });
    on("scale", "input", (field) => { state.amount = Number(field.value); redraw(); });
    on("apart", "input", (field) => { state.apart = Number(field.value); redraw(); });
    on("step", "input", (field) => { state.step = Number(field.value); redraw(); });
    on("see-through", "change", (field) => { state.seeThrough = field.checked; redraw(); });
    const moves = {
      "turn-left": () => turn(-1, 0), "turn-right": () => turn(1, 0), "turn-up": () => turn(0, 1), "turn-down": () => turn(0, -1),
      nearer: () => nearer(NEARER), farther: () => nearer(1 / NEARER), reset,
    };
    for (const [id, move] of Object.entries(moves)) at(id).addEventListener("click", move);
    const keys = {
      ArrowLeft: "turn-left", ArrowRight: "turn-right", ArrowUp: "turn-up", ArrowDown: "turn-down", "+": "nearer", "=": "nearer", "-": "farther", 0: "reset", Home: "reset",
    };
    view.addEventListener("keydown", (event) => {
      if (!(event.key in keys) || event.ctrlKey || event.altKey || event.metaKey) return;
      event.preventDefault();
      const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
      if (event.shiftKey && step) return shift(...step.map((part) => part * SHIFT));
      moves[keys[event.key]]();
    });
    view.addEventListener("wheel", (event) => {
      if (!event.ctrlKey) return; // else the page scrolls
      event.preventDefault();
      nearer(Math.exp(-event.deltaY / 300));
    }, { passive: false });
  }

  // ---- start ----------------------------------------------------------------

  function drawsInSpace() {
    try {
      const canvas = document.createElement("canvas"), context = canvas.getContext("webgl");
      context?.getExtension("WEBGL_lose_context")?.loseContext();
      return context !== null;
    } catch {
      return false;
    }
  }

  function stop(sentence, reason) {
    view.dataset.state = reason;
    block.hidden = true;
    document.getElementById("scene-block").classList.remove("scene-live");
    at("message").textContent = sentence;
  }

  async function start() {
    if (!drawsInSpace()) return stop("This browser cannot draw in 3D (WebGL is missing or switched off): the view cannot be turned here.", "no-webgl");
    block.hidden = false;
    controls();
    dragging();
    drawn = build();
    await Plotly.newPlot(view, drawn.traces, layout(), CONFIG);
    words();
    at("value").textContent = data.notes.value;
    view.on("plotly_hover", hovered);
    view.on("plotly_click", hovered);
    view.on("plotly_unhover", () => { at("tip").hidden = true; });
    view.on("plotly_webglcontextlost", () => stop("The browser has given up drawing in 3D; open the page anew to turn the view.", "lost"));
    let width = view.clientWidth, height = view.clientHeight;
    new ResizeObserver(() => {
      if (!view.clientWidth || (view.clientWidth === width && view.clientHeight === height)) return;
      ({ clientWidth: width, clientHeight: height } = view);
      redraw();
    }).observe(view);
    document.getElementById("scene-block").classList.add("scene-live");
    requestAnimationFrame(() => requestAnimationFrame(() => { view.dataset.state = "ready"; }));
  }

  const failed = (error) => stop(`The view in 3D could not be drawn (${error.message}).`, "failed");
  start().catch(failed);
})();
