"use strict";
(async function () {
  const data = JSON.parse(document.getElementById("explorer-data").textContent);
  const $ = (id) => document.getElementById(id);
  const MINUS = "\u2212", SVG = "http://www.w3.org/2000/svg";
  if (typeof DecompressionStream === "undefined") {
    $("x-say").textContent =
      "This browser is too old to unpack the fields; see the fixed drawings below.";
    return;
  }

  $("x-used").hidden = false;

  // ---- data -------------------------------------------------------------------------------
  async function unpack(text, Kind) {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    const planes = new Uint8Array(await new Response(stream).arrayBuffer());
    const size = Kind.BYTES_PER_ELEMENT, count = planes.length / size, values = new Kind(count);
    for (let i = 0; i < count; i++) {
      for (let b = 0; b < size; b++) values[i] |= planes[b * count + i] << (8 * b);
    }
    for (let i = 1; i < values.length; i++) values[i] += values[i - 1];
    return values;
  }
  const n = data.points;
  const X = Float64Array.from(await unpack(data.x, Uint16Array), (v) => data.low[0] + data.step * v);
  const Y = Float64Array.from(await unpack(data.y, Uint16Array), (v) => data.low[1] + data.step * v);
  // At a point are read: 0 deflections, 1 moments too, 2 shears too.
  const clear = await unpack(data.clear, Uint8Array);
  const needed = (component) => (component > 3 ? 2 : component > 0 ? 1 : 0);
  const cells = await unpack(data.cells, Uint32Array);
  for (const load of data.loads) {
    for (const field of load.fields) {
      for (const key in field) {
        const one = field[key], v = await unpack(one.v, Int16Array);
        one.values = Float64Array.from(v, (q) => (q / data.steps) * one.top);
        one.at = one.at === undefined ? null : await unpack(one.at, Uint32Array);
      }
    }
    for (const run of load.runs || []) {
      for (const key of ["stations", "offsets", "spreads"]) {
        run[key] = Float64Array.from(await unpack(run[key], Int32Array), (v) => v / 1e4);
      }
    }
    if (load.arrangements) load.arrangements.rows = await unpack(load.arrangements.rows, Int32Array);
  }
  const influence = data.influence, surfaces = influence.surfaces;
  influence.ordinates = await unpack(influence.ordinates, Int16Array);
  const vehicles = data.loads.filter((load) => load.kind === "vehicle");
  if (vehicles.length > 1) {
    // Of each extreme the vehicle that reaches furthest, the first listed where they tie.
    const fields = data.components.map((_, k) => {
      const made = {};
      for (const extreme of ["max", "min"]) {
        const values = new Float64Array(n), by = new Uint8Array(n);
        const sign = extreme === "max" ? 1 : -1;
        vehicles.forEach((vehicle, j) => {
          const theirs = vehicle.fields[k][extreme].values;
          for (let i = 0; i < n; i++) {
            if (sign * theirs[i] > sign * values[i]) { values[i] = theirs[i]; by[i] = j; }
          }
        });
        made[extreme] = { values, by, at: null };
      }
      return made;
    });
    data.loads.splice(data.loads.indexOf(vehicles[0]), 0, { name: "any vehicle, each alone", kind: "all", fields });
  }
  data.loads.push({ name: "influence of 1 kN", kind: "influence" });
  /** Ordinates of a surface at every point. */
  const ordinates = (index) => Float64Array.from(influence.ordinates.subarray(index * n, (index + 1) * n),
    (q) => (q / influence.steps) * surfaces[index].top);

  // The p x p quadrilaterals of each cell in two triangles each.
  const m = data.order + 1, nCells = cells.length / (m * m);
  const T = new Uint32Array(nCells * data.order * data.order * 6);
  for (let c = 0, t = 0; c < nCells; c++) {
    for (let i = 0; i + 1 < m; i++) {
      for (let j = 0; j + 1 < m; j++) {
        const o = c * m * m + i * m + j;
        const q = [cells[o], cells[o + m], cells[o + m + 1], cells[o + 1]];
        T.set([q[0], q[1], q[2], q[0], q[2], q[3]], t);
        t += 6;
      }
    }
  }

  // ---- coordinates ------------------------------------------------------------------------
  const R = data.radius;
  function toXY(s, y) {
    return R === null ? [s, y] : [(R - y) * Math.sin(s / R), R - (R - y) * Math.cos(s / R)];
  }
  /** A point and the heading of the carriageway's axis at a station, and its turn up to there. */
  function onAxis(s) {
    let piece = data.axis[0];
    for (const one of data.axis) if (one[0] <= s) piece = one;
    const [s0, x, y, heading, bend, before] = piece, d = s - s0, turn = bend * d;
    const chord = Math.abs(turn) < 1e-9 ? d : (d * Math.sin(turn / 2)) / (turn / 2);
    return [x + chord * Math.cos(heading + turn / 2), y + chord * Math.sin(heading + turn / 2), heading + turn, before + turn];
  }
  /** Where the traffic's station and offset are. */
  function trackXY(s, y) {
    if (data.axis === null) return toXY(s, y);
    const [x0, y0, heading] = onAxis(s);
    return [x0 - y * Math.sin(heading), y0 + y * Math.cos(heading)];
  }
  /** The station that lies so far from another on the ground, at an offset from the axis. */
  function alongAxis(s, y, distance) {
    const goal = s - y * onAxis(s)[3] + distance;
    let found = goal;
    for (const [s0, , , , bend, before] of data.axis.slice(1)) {
      const more = goal - (s0 - y * before);
      if (more > 0) found = s0 + more / (1 - y * bend);
    }
    return found;
  }
  function toPlan(x, y) {
    if (R === null) return [x, y];
    const side = Math.sign(R);
    return [R * Math.atan2(side * x, side * (R - y)), R - side * Math.hypot(x, R - y)];
  }
  const span = [data.high[0] - data.low[0], data.high[1] - data.low[1]];
  const room = 0.025 * Math.max(span[0], span[1]) + 0.3;
  const view = [data.low[0] - room, data.low[1] - room, span[0] + 2 * room, span[1] + 2 * room];
  const width = Math.round(Math.min(1240, (620 * view[2]) / view[3]));
  const scale = width / view[2], height = Math.round(scale * view[3]);
  const canvas = $("x-canvas"), over = $("x-over"), stage = $("x-stage");
  canvas.width = width;
  canvas.height = height;
  stage.style.maxWidth = width + "px";
  over.setAttribute("viewBox", `0 0 ${width} ${height}`);
  const px = (x, y) => [(x - view[0]) * scale, (y - view[1]) * scale];

  // Which triangle each pixel's middle lies in.
  const pick = new Int32Array(width * height).fill(-1);
  function shares(t, x, y) {
    const a = T[3 * t], b = T[3 * t + 1], c = T[3 * t + 2];
    const d = (X[b] - X[a]) * (Y[c] - Y[a]) - (X[c] - X[a]) * (Y[b] - Y[a]);
    if (d === 0) return null;
    const q = ((x - X[a]) * (Y[c] - Y[a]) - (X[c] - X[a]) * (y - Y[a])) / d;
    const r = ((X[b] - X[a]) * (y - Y[a]) - (x - X[a]) * (Y[b] - Y[a])) / d;
    return [1 - q - r, q, r];
  }
  for (let t = 0; 3 * t < T.length; t++) {
    const p = [0, 1, 2].map((k) => px(X[T[3 * t + k]], Y[T[3 * t + k]]));
    const lowX = Math.max(0, Math.floor(Math.min(p[0][0], p[1][0], p[2][0]) - 0.5));
    const highX = Math.min(width - 1, Math.ceil(Math.max(p[0][0], p[1][0], p[2][0])));
    const lowY = Math.max(0, Math.floor(Math.min(p[0][1], p[1][1], p[2][1]) - 0.5));
    const highY = Math.min(height - 1, Math.ceil(Math.max(p[0][1], p[1][1], p[2][1])));
    for (let j = lowY; j <= highY; j++) {
      for (let i = lowX; i <= highX; i++) {
        const s = shares(t, view[0] + (i + 0.5) / scale, view[1] + (j + 0.5) / scale);
        if (s && s[0] >= -1e-9 && s[1] >= -1e-9 && s[2] >= -1e-9) pick[j * width + i] = t;
      }
    }
  }
  // Triangles by the square of the plan that their bounds touch.
  const side = Math.max(span[0], span[1]) / 160, columns = Math.ceil(span[0] / side) + 1;
  const squares = new Map();
  const square = (x, y) => Math.floor((x - data.low[0]) / side) + columns * Math.floor((y - data.low[1]) / side);
  for (let t = 0; 3 * t < T.length; t++) {
    const xs = [0, 1, 2].map((k) => X[T[3 * t + k]]), ys = [0, 1, 2].map((k) => Y[T[3 * t + k]]);
    const low = [Math.min(...xs), Math.min(...ys)], high = [Math.max(...xs), Math.max(...ys)];
    for (let y = low[1]; y < high[1] + side; y += side) {
      for (let x = low[0]; x < high[0] + side; x += side) {
        const k = square(Math.min(x, high[0]), Math.min(y, high[1]));
        if (!squares.has(k)) squares.set(k, []);
        squares.get(k).push(t);
      }
    }
  }
  /** The triangle that holds a point, or nearly, so that the slab's edge counts; -1 outside. */
  function triangleAt(x, y) {
    x = Math.abs(x - data.low[0]) < 1e-3 ? data.low[0] : x;
    y = Math.abs(y - data.low[1]) < 1e-3 ? data.low[1] : y;
    let best = -1, most = -0.03;
    for (const t of squares.get(square(x, y)) || []) {
      const s = shares(t, x, y), least = s ? Math.min(...s) : -1;
      if (least > most) { most = least; best = t; }
    }
    return best;
  }
  function nearest(x, y) {
    let best = -1, gap = Infinity;
    const t = triangleAt(x, y);
    if (t < 0) return -1;
    for (let k = 0; k < 3; k++) {
      const i = T[3 * t + k], d = Math.hypot(X[i] - x, Y[i] - y);
      if (d < gap) { gap = d; best = i; }
    }
    return best;
  }

  // ---- words ------------------------------------------------------------------------------
  /** To three figures, down to a thousandth of the unit or to `least` of it. */
  function number(v, least = 1e-3) {
    if (Math.abs(v) < least / 2) return "0";
    const finest = Math.max(3, Math.ceil(-Math.log10(least)));
    const digits = Math.max(0, Math.min(finest, 2 - Math.floor(Math.log10(Math.abs(v)))));
    return Number(v.toPrecision(3)).toFixed(digits).replace("-", MINUS);
  }
  /** A round number as it is. */
  const given = (v) => String(Number(v.toPrecision(4))).replace("-", MINUS);
  const metres = (v) => (Math.abs(v) < 5e-3 ? 0 : v).toFixed(2).replace("-", MINUS);
  function symbol(parent, key) {
    const [head, low] = key.split("_");
    const i = document.createElement("i");
    i.textContent = head;
    parent.append(i);
    if (low) {
      const sub = document.createElement("sub");
      sub.textContent = low;
      parent.append(sub);
    }
  }
  function logical(s, y) { return s - y * data.lean; }
  function bayAt(s, y) {
    const u = logical(s, y);
    for (let i = 0; i + 1 < data.stations.length; i++) {
      if (u > data.stations[i] && u < data.stations[i + 1]) return i;
    }
    return -1;
  }
  function lineAt(s, y) {
    const u = logical(s, y), gaps = data.stations.map((c) => Math.abs(c - u));
    return gaps.indexOf(Math.min(...gaps));
  }

  // ---- state ------------------------------------------------------------------------------
  const state = { load: 0, component: 1, extreme: "max", at: [0, 0], point: -1, held: false,
    section: [[0, 0], [0, 0]] };
  const load = () => data.loads[state.load];
  const isInfluence = () => load().kind === "influence";
  // One value at a point, of either sign.
  const single = () => load().kind === "case" || isInfluence();
  const keyOf = () => (single() ? "value" : state.extreme);
  /** The surface shown: of the point nearest to the one chosen; -1 where there is none. */
  function surfaceAt(k = state.component) {
    let best = -1, gap = Infinity;
    surfaces.forEach((one, index) => {
      if (one.component !== k) return;
      const [x, y] = toXY(...influence.picks[one.pick].at);
      // Of one point the surface whose wheels are listed comes first.
      const d = Math.hypot(x - state.at[0], y - state.at[1]) - (one.wheels && one.wheels.extreme === state.extreme ? 1e-6 : 0);
      if (d < gap - 1e-9) { gap = d; best = index; }
    });
    return best;
  }
  /** Where the point is: of influence surfaces the one that is picked. */
  function pickedAt() {
    const index = isInfluence() ? surfaceAt() : -1;
    return index < 0 ? state.at : toXY(...influence.picks[surfaces[index].pick].at);
  }
  const nothing = new Float64Array(n);
  function field(k = state.component, key = keyOf()) {
    if (!isInfluence()) return load().fields[k][key];
    const index = surfaceAt(k);
    return { values: index < 0 ? nothing : ordinates(index) };
  }
  const unitOf = (k = state.component) => data.components[k].unit + (isInfluence() ? " per kN" : "");
  const need = (k = state.component) => (isInfluence() ? 0 : needed(k));
  /** A value of what is shown. */
  const shown = (v) => number(v, isInfluence() ? Math.max(1e-6, 2e-3 * Math.max(...[0, 1].map((j) => Math.abs(range()[j])))) : 1e-3);
  /** A load position by its number: its run and its index there; null for a lane without a vehicle. */
  function positionOf(one, number) {
    if (number < 0) return null;
    for (const run of one.runs) {
      if (number < run.stations.length) return { run, index: number };
      number -= run.stations.length;
    }
    return null;
  }
  /** What governs at a point: the load, and the vehicles that stand there, null where these are not kept; null where zero governs. */
  function governs(k, key, i) {
    if (load().kind === "case") return null;
    let one = isInfluence() ? data.loads[0] : load();
    if (one.kind === "case" || one.kind === "influence") return null;
    let f = one.fields[k][key];
    if (f.by) { one = vehicles[f.by[i]]; f = one.fields[k][key]; }
    if (!f.at || f.at[i] === 0) return f.at ? null : { vehicle: one, stands: null };
    const number = f.at[i] - 1;
    if (one.kind === "vehicle") return { vehicle: one, stands: [positionOf(one, number)] };
    const { rows, lanes, orders } = one.arrangements, start = number * (1 + lanes);
    const order = orders[rows[start]];
    const stands = order.lanes.map((lane, k) => ({ lane, ...positionOf(one, rows[start + 1 + k]) }));
    return { vehicle: one, stands: stands.filter((p) => p.run), factor: order.factor };
  }
  function positionText(p) {
    if (!p) return single() ? "" : "empty deck";
    if (!p.stands) return p.vehicle.name;
    const told = p.stands.map(({ run, index, lane }) => {
      const s = metres(run.stations[index]), y = metres(run.offsets[index]), spread = run.spreads[index];
      const more = spread > 0 ? `, variable spacing + ${metres(spread)}` : "";
      if (!lane) return `${run.vehicle}, ${run.direction}, first axle at ${s}, ${y}${more}`;
      const factor = Math.abs(lane.factor - 1) < 1e-9 ? "" : ` × ${number(lane.factor)}`;
      const vehicle = run.vehicle === lane.name ? "" : ` ${run.vehicle}`;
      return `${lane.name} at ${y}:${vehicle}${factor} ${run.direction}, first axle at ${s}${more}`;
    });
    const all = p.factor && Math.abs(p.factor - 1) > 1e-9 ? `all × ${number(p.factor)}: ` : "";
    return all + told.join("; ");
  }
  function wheelPaths({ run, index }) {
    const s1 = run.stations[index], y0 = run.offsets[index];
    const ahead = run.direction === "reverse" ? 1 : -1, curve = (y) => (R === null ? 1 : 1 - y / R);
    return run.wheels.map(([at, across, , a, b, moved]) => {
      if (data.axis !== null) {
        const s = alongAxis(s1, y0, ahead * (at + (moved ? run.spreads[index] : 0)));
        const [x, z] = trackXY(s, y0 - ahead * across), heading = onAxis(s)[2];
        const c = Math.cos(heading), d = Math.sin(heading);
        return [[-a, -b], [a, -b], [a, b], [-a, b]].map(([u, v]) => [x + (c * u - d * v) / 2, z + (d * u + c * v) / 2]);
      }
      const s = s1 + (ahead * (at + (moved ? run.spreads[index] : 0))) / curve(y0);
      const y = y0 - ahead * across, y1 = y - b / 2, y2 = y + b / 2;
      const near = a / 2 / curve(y1), far = a / 2 / curve(y2);
      return [[s - near, y1], [s + near, y1], [s + far, y2], [s - far, y2]].map((q) => toXY(...q));
    });
  }

  // ---- drawing ----------------------------------------------------------------------------
  function niceStep(top, parts) {
    const raw = top / parts, power = 10 ** Math.floor(Math.log10(raw));
    return power * [1, 2, 2.5, 5, 10].find((v) => v * power >= raw * (1 - 1e-9));
  }
  /** Least and largest value that is to be read. */
  function range() {
    const v = field().values, least = need();
    let low = Infinity, high = -Infinity;
    for (let i = 0; i < n; i++) {
      if (clear[i] < least) continue;
      low = Math.min(low, v[i]);
      high = Math.max(high, v[i]);
    }
    return low <= high ? [low, high] : [0, 0];
  }
  function levels() {
    let [low, high] = range();
    const top = Math.max(Math.abs(low), Math.abs(high));
    let beyond = false;
    if (isInfluence()) {
      // A peak alone would leave the rest blank: the darkest bands go on to it.
      const common = Float64Array.from(field().values, Math.abs).sort()[Math.floor(0.97 * (n - 1))];
      beyond = common > 0 && common < 0.25 * top;
      if (beyond) [low, high] = [Math.max(low, -common), Math.min(high, common)];
    }
    if (top === 0) return { step: 1, first: 0, count: 1, colours: ["#f4f2ec"] };
    if (single()) {
      const step = niceStep(Math.max(0, high) - Math.min(0, low), 14);
      const below = Math.max(0, Math.ceil(-low / step - 1e-9)), above = Math.max(0, Math.ceil(high / step - 1e-9));
      // Paler nearer to zero, as deep on both sides.
      const shade = (ramp, j) => ramp[Math.round((j / Math.max(1, below - 1, above - 1)) * (ramp.length - 1))];
      const colours = [
        ...Array.from({ length: below }, (_, k) => shade([...data.colours.min].reverse(), below - 1 - k)),
        ...Array.from({ length: above }, (_, k) => shade(data.colours.max, k)),
      ];
      return { first: -below * step, count: below + above, step, colours, beyond };
    }
    const step = niceStep(top, 14), count = Math.ceil(top / step - 1e-9);
    return state.extreme === "max" ? band(0, count, step, data.colours.max)
      : band(-count * step, count, step, data.colours.min);
  }
  function band(first, count, step, ramp) {
    const colours = Array.from({ length: count }, (_, k) =>
      ramp[Math.round((count > 1 ? k / (count - 1) : 0.5) * (ramp.length - 1))]);
    return { first, count, step, colours };
  }
  function paint() {
    const context = canvas.getContext("2d"), image = context.createImageData(width, height);
    const v = field().values, { first, count, step, colours, beyond } = levels();
    const rgb = colours.map((c) => [1, 3, 5].map((k) => parseInt(c.slice(k, k + 2), 16)));
    const least = need(), isRead = (i) => (clear[i] < least ? 0 : 1);
    for (let j = 0; j < height; j++) {
      for (let i = 0; i < width; i++) {
        const o = j * width + i, t = pick[o];
        if (t < 0) continue;
        const s = shares(t, view[0] + (i + 0.5) / scale, view[1] + (j + 0.5) / scale);
        const a = T[3 * t], b = T[3 * t + 1], c = T[3 * t + 2];
        const value = s[0] * v[a] + s[1] * v[b] + s[2] * v[c];
        let colour = rgb[Math.max(0, Math.min(count - 1, Math.floor((value - first) / step)))];
        if (s[0] * isRead(a) + s[1] * isRead(b) + s[2] * isRead(c) < 0.5) {
          colour = (i + j) % 6 < 1 ? [140, 140, 140] : [240, 239, 235];
        } else if (single() && value < 0 && (i - j) % 9 === 0) {
          // Below zero is ruled the other way, so that signs show without colour.
          colour = colour.map((v) => v - 70);
        }
        image.data.set([colour[0], colour[1], colour[2], 255], 4 * o);
      }
    }
    context.putImageData(image, 0, 0);
    const bar = $("x-bar"), level = (k) => given((Math.round(first / step) + k) * step);
    // As many numbers as stand beside each other, zero among them, a letter about 7 pixels wide.
    const longest = 2 + Math.max(...colours.map((_, k) => level(k).length));
    const room = Math.max(60, bar.clientWidth - 7 * (longest + unitOf().length));
    const every = Math.ceil((7 * longest * count) / room);
    bar.replaceChildren(...colours.map((c, k) => {
      const part = document.createElement("span");
      part.style.setProperty("--shade", c);
      part.className = single() && first + (k + 0.5) * step < 0 ? "below" : "";
      part.textContent = (k + Math.round(first / step)) % every || count - k < every ? "" : level(k);
      return part;
    }));
    const unit = document.createElement("span");
    unit.textContent = `${level(count)} ${unitOf()}` + (beyond ? ", the darkest also beyond" : "");
    bar.append(unit);
  }
  function element(name, attributes, parent) {
    const made = document.createElementNS(SVG, name);
    for (const key in attributes) made.setAttribute(key, attributes[key]);
    parent.append(made);
    return made;
  }
  const line = (points) => points.map(([x, y], k) => `${k ? "L" : "M"}${px(x, y).map((v) => v.toFixed(1))}`).join("");
  const STYLE = {
    outline: { stroke: "#222", "stroke-width": 1.4 },
    free: { stroke: "#777", "stroke-width": 0.7, "stroke-dasharray": "1 4" },
    beam: { stroke: "#222", "stroke-width": 1.6 },
    rigid: { stroke: "#222", "stroke-width": 1.6, "stroke-dasharray": "8 3" },
    clamped: { stroke: "#222", "stroke-width": 3 },
    spring: { stroke: "#222", "stroke-width": 1.6, "stroke-dasharray": "3 3" },
  };
  for (const one of data.drawn) {
    element("path", { d: line(one.path), fill: "none", ...STYLE[one.kind] }, over);
    if (!one.name) continue;
    const [x, y] = px(...one.path[0]);
    const label = element("text", { x, y, "font-size": 12, fill: "#222", "text-anchor": "middle",
      dy: one.name[0] === "C" ? -6 : 4, dx: one.name[0] === "C" ? 0 : -18 }, over);
    label.textContent = one.name;
  }
  const dots = element("g", { id: "x-dots" }, over);
  const wheels = element("g", { id: "x-wheels" }, over);
  const cut = element("path", { fill: "none", stroke: "#8c2d04", "stroke-width": 1.6, "stroke-dasharray": "7 3" }, over);
  const mark = element("g", { id: "x-mark" }, over);
  for (const [stroke, w] of [["#fff", 4], ["#000", 1.6]]) {
    element("circle", { r: 7, fill: "none", stroke, "stroke-width": w }, mark);
    element("path", { d: "M-11 0H-3M3 0H11M0 -11V-3M0 3V11", stroke, "stroke-width": w }, mark);
  }
  const handles = [0, 1].map((k) => element("circle", { r: 8, fill: "#fff", stroke: "#8c2d04",
    "stroke-width": 2.5, class: "handle", tabindex: 0, role: "slider", "aria-valuemin": data.low[0],
    "aria-valuemax": data.high[0], "aria-label": k ? "End of the section" : "Start of the section" }, over));

  function drawWheels(p) {
    wheels.replaceChildren();
    if (!p || !p.stands) return;
    p.stands.flatMap(wheelPaths).forEach((path, k) => {
      for (const [stroke, w] of [["#fff", 3.5], ["#7a1f5c", 1.6]]) {
        element("path", { d: line(path) + "Z", fill: "none", stroke, "stroke-width": w }, wheels);
      }
      if (!isInfluence()) return;
      const [x, y] = px(...[0, 1].map((j) => path.reduce((sum, q) => sum + q[j] / 4, 0)));
      const number = element("text", { x, y: y + 4, "font-size": 11, "text-anchor": "middle", fill: "#7a1f5c", "font-weight": 700,
        stroke: "#fff", "stroke-width": 3, "paint-order": "stroke" }, wheels);
      number.textContent = k + 1;
    });
    for (const { run, index } of p.stands) {
      const y0 = run.offsets[index], s1 = run.stations[index];
      const on = run.direction === "reverse" ? -1 : 1;
      const [a, b] = [trackXY(s1, y0), trackXY(s1 + on * 1.0, y0)].map((q) => px(...q));
      const d = [b[0] - a[0], b[1] - a[1]], size = Math.hypot(...d) || 1;
      const [u, v] = [d[0] / size, d[1] / size];
      element("path", { d: `M${a}L${b}M${b[0] - 7 * u + 4 * v},${b[1] - 7 * v - 4 * u}L${b}L${b[0] - 7 * u - 4 * v},${b[1] - 7 * v + 4 * u}`,
        fill: "none", stroke: "#7a1f5c", "stroke-width": 1.8 }, wheels);
    }
  }
  /** The points whose influence surface can be shown. */
  function drawDots() {
    dots.replaceChildren();
    if (!isInfluence()) return;
    const there = new Set(surfaces.filter((one) => one.component === state.component).map((one) => one.pick));
    for (const pick of there) {
      const [cx, cy] = px(...toXY(...influence.picks[pick].at));
      element("circle", { cx, cy, r: 2.6, fill: "#fff", stroke: "#222", "stroke-width": 1 }, dots);
    }
  }
  function stripsAt(s, y, vehicle) {
    const sagging = state.extreme === "max";
    if (state.component !== 1 || single() || !data.strips.length) return { words: "", rows: [] };
    const index = sagging ? bayAt(s, y) : lineAt(s, y);
    const rows = data.strips.filter((one) => one.vehicle === vehicle && one.sagging === sagging && one.index === index);
    const where = index < 0 ? "" : sagging ? data.places.bays[index] : data.places.lines[index];
    return { words: where, rows };
  }
  function show() {
    if (isInfluence()) { showInfluence(); return; }
    // A governing value is read at its own point: on a line each side has one.
    const i = state.point >= 0 ? state.point : nearest(...state.at);
    const [cx, cy] = px(...state.at);
    mark.setAttribute("transform", `translate(${cx},${cy})`);
    const plan = showPlace(state.at);
    const rows = [], say = $("x-say");
    if (i < 0) {
      say.textContent = `${metres(plan[0])}, ${metres(plan[1])} m: outside the slab.`;
      $("x-table").replaceChildren();
      $("x-strips").replaceChildren();
      drawWheels(null);
      return;
    }
    const [s, y] = toPlan(X[i], Y[i]);
    data.components.forEach((component, k) => {
      const row = document.createElement("tr"), head = document.createElement("th");
      head.scope = "row";
      symbol(head, component.key);
      head.append(` [${component.unit}]`);
      row.append(head);
      row.className = k === state.component ? "shown" : "";
      for (const key of single() ? ["value", null] : ["max", "min"]) {
        const value = document.createElement("td"), where = document.createElement("td");
        value.className = "n";
        if (key) {
          const text = number(load().fields[k][key].values[i]);
          value.textContent = clear[i] < needed(k) ? "–" : text;
          if (clear[i] >= needed(k)) where.textContent = positionText(governs(k, key, i));
        }
        row.append(value, where);
      }
      rows.push(row);
    });
    $("x-table").replaceChildren(...rows);
    $("x-table-title").textContent = `Values at the result point ${metres(s)}, ${metres(y)} m; ` +
      `${load().name}` + [" (only the deflection is read within one thickness of a singular place)",
      " (shears are not read within one thickness of an edge or line)", ""][clear[i]];
    const p = governs(state.component, keyOf(), i), component = data.components[state.component];
    drawWheels(p);
    const bay = bayAt(s, y), line_ = lineAt(s, y);
    const place = bay >= 0 && Math.abs(logical(s, y) - data.stations[line_]) > 1e-3 ? data.places.bays[bay] : data.places.lines[line_] || "";
    const strip = p ? stripsAt(s, y, p.vehicle.name) : { words: "", rows: [] };
    const value = field().values[i], unread = clear[i] < needed(state.component);
    say.textContent = `${component.key} ${single() ? "" : state.extreme} ` +
      (unread ? `is not read within one thickness of ${clear[i] ? "an edge or line" : "a singular place"}: ` : `= ${number(value)} ${component.unit} at `) +
      `${metres(s)}, ${metres(y)} m${bay >= 0 ? ` (${place})` : ""}` + (single() ? `, ${load().name}.` : `; ${positionText(p)}.`) +
      (strip.rows.length ? ` Hand strips, ${strip.words}: ${strip.rows.map((one) => `${one.strip} ${number(one.value)}`).join("; ")} kNm/m.` : "");
    const note = $("x-strips");
    note.replaceChildren();
    if (strip.rows.length) {
      const title = document.createElement("p"), list = document.createElement("ul");
      const alone = p.vehicle.kind === "model" ? "" : " alone";
      title.textContent = `Hand strips for ${p.vehicle.name}${alone}, ${strip.words} [kNm/m] (strip / plate here):`;
      list.className = "plain";
      for (const one of strip.rows) {
        const item = document.createElement("li");
        item.textContent = `${one.strip}: ${number(one.value)}` + (one.value * value > 0 ? ` (${number(one.value / value)})` : " (not comparable)");
        list.append(item);
      }
      note.append(title, list);
    }
  }

  function showPlace(at) {
    const plan = toPlan(...at);
    for (const [id, v] of [["x-station", plan[0]], ["x-offset", plan[1]]]) {
      if (document.activeElement !== $(id)) $(id).value = v.toFixed(2);
    }
    return plan;
  }
  function showInfluence() {
    const component = data.components[state.component], index = surfaceAt();
    $("x-strips").replaceChildren();
    showPlace(state.at);
    if (index < 0) {
      $("x-say").textContent = `There is no point at which the influence on ${component.key} is read.`;
      $("x-table").replaceChildren();
      drawWheels(null);
      return;
    }
    const one = surfaces[index], pick = influence.picks[one.pick], at = toXY(...pick.at);
    const [cx, cy] = px(...at);
    mark.setAttribute("transform", `translate(${cx},${cy})`);
    const here = `${metres(pick.at[0])}, ${metres(pick.at[1])} m (${pick.place})`;
    const v = ordinates(index);
    let low = 0, high = 0;
    for (let i = 1; i < n; i++) {
      if (v[i] < v[low]) low = i;
      if (v[i] > v[high]) high = i;
    }
    const told = (i) => `${shown(v[i])} with the load at ${toPlan(X[i], Y[i]).map(metres).join(", ")}`;
    const p = governs(state.component, state.extreme, pick.point);
    drawWheels(p);
    $("x-say").textContent = `Influence of 1 kN on ${component.key} at ${here}, ${unitOf()}: largest ${told(high)}` +
      (v[low] < 0 ? `, smallest ${told(low)} m.` : " m, nowhere negative.") +
      (p && p.stands ? ` The wheels: what governs ${component.key} ${state.extreme} there, ${positionText(p)}.` : "");
    const row = (...words) => {
      const made = document.createElement("tr");
      words.forEach((w, k) => {
        const cell = document.createElement(k ? "td" : "th");
        if (!k) cell.scope = "row";
        cell.className = k ? "n" : "";
        cell.textContent = w;
        made.append(cell);
      });
      return made;
    };
    const listed = one.wheels && one.wheels.extreme === state.extreme;
    $("x-wheel-heads").hidden = !listed;
    if (!listed) {
      $("x-table-title").textContent = "At a governing value (Go to) its wheels are listed here with their ordinates";
      $("x-table").replaceChildren();
      return;
    }
    $("x-head-ordinate").textContent = `mean ordinate [${unitOf()}]`;
    $("x-head-part").textContent = `load × ordinate [${component.unit}]`;
    const parts = one.wheels.loads.map((load, k) => load * one.wheels.ordinates[k]);
    const sum = parts.reduce((a, b) => a + b, 0), value = one.wheels.value;
    // a shear that governs at the edge of a wheel is more than its field point has
    const atEdge = Math.abs(value - sum) > 1e-5 * Math.abs(value);
    $("x-table-title").textContent = `${component.key} ${state.extreme} at ${here}, wheel by wheel, under the patches as dispersed`;
    $("x-table").replaceChildren(
      ...parts.map((part, k) => row(k < one.wheels.count ? `wheel ${k + 1}` : "distributed load", number(one.wheels.loads[k]), number(one.wheels.ordinates[k], 1e-5), number(part))),
      row("sum", "", "", number(sum)),
      row(atEdge ? "at the edge of the wheel" : "envelope", "", "", number(value)),
    );
  }

  // ---- section ----------------------------------------------------------------------------
  const SAMPLES = 400;
  function sectionValues() {
    const [a, b] = state.section, found = [], fields = {};
    const keys = single() ? ["value"] : ["max", "min"];
    for (const key of keys) fields[key] = field(state.component, key).values;
    for (let k = 0; k <= SAMPLES; k++) {
      // Straight in station and offset, as everything in a plan is.
      const plan = [0, 1].map((j) => a[j] + (k / SAMPLES) * (b[j] - a[j])), [x, y] = toXY(...plan);
      const t = triangleAt(x, y);
      if (t < 0) { found.push({ plan, values: null }); continue; }
      const s = shares(t, x, y), q = [0, 1, 2].map((j) => T[3 * t + j]);
      const least = need(), isRead = (i) => (clear[i] < least ? 0 : 1);
      if (s[0] * isRead(q[0]) + s[1] * isRead(q[1]) + s[2] * isRead(q[2]) < 0.5) {
        found.push({ plan, values: null });
        continue;
      }
      found.push({ plan, values: keys.map((key) => {
        const v = fields[key];
        return s[0] * v[q[0]] + s[1] * v[q[1]] + s[2] * v[q[2]];
      }) });
    }
    return found;
  }
  function showSection() {
    const [a, b] = state.section, component = data.components[state.component];
    const path = Array.from({ length: 41 }, (_, k) => toXY(a[0] + (k / 40) * (b[0] - a[0]), a[1] + (k / 40) * (b[1] - a[1])));
    cut.setAttribute("d", line(path));
    handles.forEach((handle, k) => {
      const [x, y] = px(...toXY(...state.section[k]));
      handle.setAttribute("cx", x);
      handle.setAttribute("cy", y);
      handle.setAttribute("aria-valuenow", state.section[k][0].toFixed(2));
      handle.setAttribute("aria-valuetext", `station ${metres(state.section[k][0])}, offset ${metres(state.section[k][1])} m`);
    });
    for (const [id, k, j] of [["x-a0", 0, 0], ["x-a1", 0, 1], ["x-b0", 1, 0], ["x-b1", 1, 1]]) {
      if (document.activeElement !== $(id)) $(id).value = state.section[k][j].toFixed(2);
    }
    const found = sectionValues(), length = Math.hypot(b[0] - a[0], b[1] - a[1]);
    const svg = $("x-profile"), W = 560, H = 300, L = 52, B = 34, top = 12;
    svg.replaceChildren();
    svg.setAttribute("viewBox", `0 0 ${W} ${H}`);
    const all = found.flatMap((one) => one.values || []);
    let low = Math.min(0, ...all), high = Math.max(0, ...all);
    if (high - low === 0) high = 1;
    const step = niceStep(high - low, 6);
    low = Math.floor(low / step + 1e-9) * step;
    high = Math.ceil(high / step - 1e-9) * step;
    const down = state.component <= 3;
    const sx = (d) => L + (length ? d / length : 0) * (W - L - 12);
    const sy = (v) => { const q = (v - low) / (high - low); return top + (down ? q : 1 - q) * (H - top - B); };
    for (let v = low; v <= high + step / 2; v += step) {
      element("path", { d: `M${L} ${sy(v)}H${W - 12}`, stroke: Math.abs(v) < step / 2 ? "#222" : "#ddd", "stroke-width": 1 }, svg);
      const text = element("text", { x: L - 6, y: sy(v) + 4, "font-size": 11, "text-anchor": "end", fill: "#222" }, svg);
      text.textContent = given(Math.round(v / step) * step);
    }
    const dStep = length > 0 ? niceStep(length, 8) : 1;
    for (let d = 0; d <= length + 1e-9; d += dStep) {
      const text = element("text", { x: sx(d), y: H - B + 16, "font-size": 11, "text-anchor": "middle", fill: "#222" }, svg);
      text.textContent = given(d);
    }
    const foot = element("text", { x: (L + W) / 2, y: H - 4, "font-size": 11, "text-anchor": "middle", fill: "#222" }, svg);
    foot.textContent = `along the section [m]; ${isInfluence() ? "influence on " : ""}${component.key} [${unitOf()}]` + (down ? ", positive downwards" : "");
    const inks = single() ? ["#222"] : ["#12426e", "#d0730f"], dashes = ["", "6 3"];
    (single() ? ["value"] : ["max", "min"]).forEach((key, j) => {
      let d = "", pen = false;
      found.forEach((one, k) => {
        if (!one.values) { pen = false; return; }
        d += `${pen ? "L" : "M"}${sx((k / SAMPLES) * length).toFixed(1)} ${sy(one.values[j]).toFixed(1)}`;
        pen = true;
      });
      element("path", { d: d || "M0 0", fill: "none", stroke: inks[j], "stroke-width": 1.8, "stroke-dasharray": dashes[j], class: "curve" }, svg);
      const best = found.reduce((q, one, k) => one.values && (q < 0 || (j ? one.values[j] < found[q].values[j] : one.values[j] > found[q].values[j])) ? k : q, -1);
      if (best >= 0) {
        const x = sx((best / SAMPLES) * length), end = x > W - 110;
        const text = element("text", { x: x + (end ? -4 : 4), y: Math.max(top + 10, Math.min(H - B - 4, sy(found[best].values[j]) + (down === !j ? 13 : -5))), "font-size": 11,
          "text-anchor": end ? "end" : "start", fill: inks[j], "font-weight": 600 }, svg);
        text.textContent = `${single() ? "" : key + " "}${shown(found[best].values[j])}`;
      }
    });
    svg.setAttribute("aria-label", `Section from ${metres(a[0])}, ${metres(a[1])} to ${metres(b[0])}, ${metres(b[1])} m: ` +
      `${component.key} from ${shown(Math.min(...all, 0))} to ${shown(Math.max(...all, 0))} ${unitOf()}`);
    $("x-head-max").textContent = `${single() ? "value" : "max"} [${unitOf()}]`;
    $("x-head-min").textContent = single() ? "" : `min [${component.unit}]`;
    $("x-samples").replaceChildren(...found.filter((_, k) => k % 20 === 0).map((one, k) => {
      const row = document.createElement("tr");
      const cellsOf = [number((k / 20) * length), metres(one.plan[0]), metres(one.plan[1]),
        ...(one.values ? one.values.map(shown) : ["\u2013", "\u2013"])];
      for (const words of [...cellsOf, ""].slice(0, 5)) {
        const cell = document.createElement("td");
        cell.className = "n";
        cell.textContent = words;
        row.append(cell);
      }
      return row;
    }));
  }
  function sectionThrough(along) {
    const at = pickedAt(), [s, y] = toPlan(...at);
    const far = Math.hypot(...span) + 1, ends = [-1, 1].map((sign) => {
      // Outwards from the point to the last place on the slab.
      let on = 0;
      for (let d = 0; d <= far; d += 0.01) {
        const q = along ? [s + sign * d, y] : [s + sign * d * data.lean, y + sign * d];
        if (triangleAt(...toXY(...q)) >= 0) on = d;
      }
      return along ? [s + sign * on, y] : [s + sign * on * data.lean, y + sign * on];
    });
    if (state.point >= 0 || triangleAt(...at) >= 0) state.section = ends;
    showSection();
  }

  // ---- controls ---------------------------------------------------------------------------
  const option = (parent, value, words) => {
    const made = document.createElement("option");
    made.value = value;
    made.textContent = words;
    parent.append(made);
  };
  const labels = { case: (name) => `case: ${name}`, model: (name) => `${name}, all lanes` };
  data.loads.forEach((one, k) => option($("x-load"), k, (labels[one.kind] || String)(one.name)));
  data.components.forEach((one, k) => option($("x-component"), k, `${one.key}: ${one.words}`));
  option($("x-peak"), "", "a governing value");
  // Of vehicles alone the field of all of them, where there are several.
  const loadOf = (peak) => data.loads.findIndex((one) => (peak.whole ? one.name === peak.load && one.kind === "model" : one.kind === "all" || (one.kind === "vehicle" && vehicles.length === 1)));
  data.peaks = data.peaks.filter((peak) => loadOf(peak) >= 0);
  data.peaks.forEach((one, k) => option($("x-peak"), k, `${one.load}: ${data.components[one.component].key} ${one.extreme} ${number(one.value)}` +
    (one.error === null ? "" : ` ± ${number(one.error)}`) + ` ${data.components[one.component].unit}, ${one.place}`));
  const refresh = () => {
    $("x-extremes").disabled = load().kind === "case";
    const component = data.components[state.component];
    over.setAttribute("aria-label", `Plan of ${component.key} ${single() ? "" : state.extreme}, ${component.words}, ${load().name}. Arrow keys move the point.`);
    document.querySelector(`input[name="x-extreme"][value="${state.extreme}"]`).checked = true;
    $("x-component").value = state.component;
    $("x-load").value = state.load;
    $("x-influence").hidden = !isInfluence();
    $("x-heads").hidden = isInfluence();
    $("x-wheel-heads").hidden = true;
    drawDots();
    paint();
    show();
    showSection();
  };
  /** After the point has moved: another point has another influence surface. */
  function moved() {
    if (isInfluence()) paint();
    show();
    if (isInfluence()) showSection();
  }
  $("x-load").addEventListener("change", (e) => {
    state.load = Number(e.target.value);
    leave();
    refresh();
    if (isInfluence()) sectionThrough(true);
  });
  $("x-component").addEventListener("change", (e) => { state.component = Number(e.target.value); leave(); refresh(); });
  for (const radio of document.querySelectorAll('input[name="x-extreme"]')) {
    radio.addEventListener("change", (e) => { state.extreme = e.target.value; leave(); refresh(); });
  }
  /** What is shown is no longer the governing value that was gone to. */
  function leave() { $("x-peak").value = ""; }
  function moveTo(at) {
    leave();
    Object.assign(state, { at, point: -1 });
  }
  function goTo(k) {
    const peak = data.peaks[k];
    Object.assign(state, { load: isInfluence() ? state.load : loadOf(peak), component: peak.component, extreme: peak.extreme, at: toXY(...peak.at),
      point: peak.point });
    hold(true);
    refresh();
  }
  $("x-peak").addEventListener("change", (e) => { if (e.target.value !== "") goTo(Number(e.target.value)); });
  function hold(on) {
    state.held = on;
    $("x-hold").setAttribute("aria-pressed", on);
    $("x-hold").textContent = on ? "Release the point" : "Hold the point";
  }
  $("x-hold").addEventListener("click", () => hold(!state.held));
  for (const id of ["x-station", "x-offset"]) {
    $(id).addEventListener("input", () => {
      const s = Number($("x-station").value), y = Number($("x-offset").value);
      if ($("x-station").value === "" || $("x-offset").value === "") return;
      moveTo(toXY(s, y));
      hold(true);
      moved();
    });
    // Left empty, it tells the point again.
    $(id).addEventListener("blur", () => showPlace(state.at));
  }
  for (const [id, k, j] of [["x-a0", 0, 0], ["x-a1", 0, 1], ["x-b0", 1, 0], ["x-b1", 1, 1]]) {
    $(id).addEventListener("input", () => {
      if ($(id).value === "") return;
      state.section[k][j] = Number($(id).value);
      showSection();
    });
  }
  $("x-along").addEventListener("click", () => sectionThrough(true));
  $("x-across").addEventListener("click", () => sectionThrough(false));
  function pointed(event) {
    const box = over.getBoundingClientRect();
    return [view[0] + ((event.clientX - box.left) / box.width) * view[2], view[1] + ((event.clientY - box.top) / box.height) * view[3]];
  }
  let dragged = -1;
  handles.forEach((handle, k) => {
    handle.addEventListener("pointerdown", (e) => {
      dragged = k;
      handle.setPointerCapture(e.pointerId);
      e.stopPropagation();
    });
    handle.addEventListener("pointermove", (e) => {
      if (dragged !== k) return;
      state.section[k] = toPlan(...pointed(e));
      showSection();
      e.stopPropagation();
    });
    for (const end of ["pointerup", "pointercancel"]) handle.addEventListener(end, () => { dragged = -1; });
    handle.addEventListener("keydown", (e) => {
      const move = arrow(e);
      if (!move) return;
      state.section[k] = [state.section[k][0] + move[0], state.section[k][1] + move[1]];
      showSection();
      e.preventDefault();
      e.stopPropagation();
    });
  });
  function arrow(e) {
    const size = e.shiftKey ? 1 : 0.1;
    return { ArrowLeft: [-size, 0], ArrowRight: [size, 0], ArrowUp: [0, -size], ArrowDown: [0, size] }[e.key];
  }
  over.addEventListener("pointermove", (e) => {
    if (state.held || dragged >= 0) return;
    const before = isInfluence() ? surfaceAt() : -1;
    moveTo(pointed(e));
    if (before < 0 || surfaceAt() !== before) moved();
  });
  over.addEventListener("click", (e) => {
    if (e.target.classList.contains("handle")) return;
    moveTo(pointed(e));
    hold(true);
    moved();
  });
  over.addEventListener("keydown", (e) => {
    const move = arrow(e);
    if (e.key === "Enter") { hold(!state.held); e.preventDefault(); }
    if (!move) return;
    moveTo(isInfluence() ? nextPick(move) : ((q) => toXY(q[0] + move[0], q[1] + move[1]))(toPlan(...state.at)));
    hold(true);
    moved();
    e.preventDefault();
  });
  /** The nearest point with a surface in that direction, or the one shown. */
  function nextPick(move) {
    const index = surfaceAt();
    if (index < 0) return state.at;
    const from = influence.picks[surfaces[index].pick].at, size = Math.hypot(...move);
    let best = from, least = Infinity;
    for (const one of surfaces) {
      if (one.component !== state.component) continue;
      const at = influence.picks[one.pick].at, d = [at[0] - from[0], at[1] - from[1]];
      const ahead = (d[0] * move[0] + d[1] * move[1]) / size, aside = Math.abs(d[0] * move[1] - d[1] * move[0]) / size;
      if (ahead > 0.01 && ahead + 2 * aside < least) { least = ahead + 2 * aside; best = at; }
    }
    return toXY(...best);
  }

  const first = data.peaks.findIndex((one) => one.component === 1 && one.extreme === "max");
  if (first >= 0) {
    const { at, point } = data.peaks[first];
    Object.assign(state, { load: loadOf(data.peaks[first]), at: toXY(...at), point });
  }
  else state.at = [data.low[0] + span[0] / 2, data.low[1] + span[1] / 2];
  refresh();
  sectionThrough(true);
  $("explorer").dataset.ready = "yes";
})();
