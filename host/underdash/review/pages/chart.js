// A drive that can be looked into: from the whole of it down to single rows. Each <figure class="chart"> holds a static
// picture and, in a data block, its rows; this puts a canvas in its place. Without a script the picture stays.

function chart(figure) {
  const told = JSON.parse(figure.querySelector("script").textContent), rows = decode(told);
  if (!rows.n) return;
  const whole = { from: rows.t[0] - 1, to: rows.t[rows.n - 1] + 1 }, view = { ...whole };
  const every = sumUp(rows, 0, rows.n), bitOf = (name) => 1 << told.states.indexOf(name);
  const lanes = told.lanes.map((lane) => ({ ...lane, bit: bitOf(lane.name) })).filter((lane) => every.states & lane.bit);
  if (every.warnings) lanes.push({ name: "warning", hatch: "" });
  const clock = clockOf(told), days = [whole.from, whole.to].some((t) => clock(t).includes(" ")); // more than one
  let cursor = null, marked = null, box = null;

  const make = (tag, name, text, parent) => {
    const made = parent.appendChild(document.createElement(tag));
    made.className = name;
    made.textContent = text;
    return made;
  };
  const panel = document.createElement("div");
  panel.className = "panel";
  figure.prepend(panel);
  const tools = make("div", "tools", "", panel), main = make("canvas", "rows", "", panel);
  const strip = make("canvas", "strip", "", panel), readout = make("p", "readout", "", panel);
  main.tabIndex = 0;
  main.setAttribute("role", "application");
  main.setAttribute("aria-label", `${told.label}. Plus and minus zoom, the arrow keys move, with Shift from row to row, ` +
    "Home shows the whole drive.");
  strip.setAttribute("aria-hidden", "true");
  figure.classList.add("live");

  // ---- the view ----

  function look(from, to) {
    const span = Math.min(Math.max(to - from, CLOSEST_S), whole.to - whole.from), middle = (from + to) / 2;
    view.from = Math.min(Math.max(middle - span / 2, whole.from), whole.to - span);
    view.to = view.from + span;
    figure.dataset.from = view.from;
    figure.dataset.to = view.to;
    ask();
  }
  const zoom = (factor, at = (view.from + view.to) / 2) => look(at - (at - view.from) * factor, at + (view.to - at) * factor);
  const pan = (part) => {
    const by = part * (view.to - view.from);
    look(view.from + by, view.to + by);
  };
  const reset = () => {
    marked = cursor = null;
    look(whole.from, whole.to);
  };
  for (const [text, words, act] of [
    ["+", "Zoom in", () => zoom(0.5)],
    ["\u2212", "Zoom out", () => zoom(2)],
    ["\u25c0", "Earlier", () => pan(-0.4)],
    ["\u25b6", "Later", () => pan(0.4)],
    ["Whole drive", "Show the whole drive", reset],
  ]) {
    const button = make("button", "", text, tools);
    button.type = "button";
    button.title = words;
    button.setAttribute("aria-label", words);
    button.addEventListener("click", act);
  }
  const shows = make("span", "shows", "", tools);

  // ---- drawing ----

  function canvas(element, tall) {
    const ratio = window.devicePixelRatio || 1;
    element.style.height = `${tall}px`;
    element.width = Math.round(box.wide * ratio);
    element.height = Math.round(tall * ratio);
    const pen = element.getContext("2d");
    pen.scale(ratio, ratio);
    pen.font = `11px ${getComputedStyle(figure).fontFamily}`;
    pen.textBaseline = "middle";
    return pen;
  }

  function draw() {
    if (!panel.clientWidth) return; // printed, or not shown
    box = layOut(panel.clientWidth, told, rows, lanes, days);
    const scene = { told, rows, view, whole, box, cursor, marked, colours: coloursOf(figure), clock, crankBit: bitOf("crank") };
    scene.pen = canvas(main, box.tall);
    scene.drawn = pieces(rows, view.from, view.to, box.width);
    scene.x = (at) => box.left + at;
    scene.xOf = (t) => box.left + ((t - view.from) / (view.to - view.from)) * box.width;
    drawVolts(scene);
    if (rows.amps) drawAmps(scene);
    drawLanes(scene, lanes);
    drawTimes(scene);
    drawCursor(scene);
    drawOverview({ ...scene, pen: canvas(strip, box.strip) });
    shows.textContent = `${clock(told.dated ? view.from : Math.max(0, view.from))} to ${clock(view.to)}`;
    tell();
  }

  let asked = false;
  function ask() {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => {
      asked = false;
      draw();
    });
  }

  // What is at the cursor: a row's own numbers, or the range of the rows that share its column.
  function tell() {
    if (!cursor) {
      readout.textContent = "Point at the picture for its numbers. Scroll or pinch to zoom, drag to move.";
      return;
    }
    const { i, end } = cursor, all = sumUp(rows, i, end), single = end - i === 1;
    const volts = between(all.low, all.high, 3, "V");
    const states = told.states.filter((_, at) => all.states & (1 << at)).join(", ");
    const warnings = told.warnings_named.filter((_, bit) => all.warnings & (1 << bit)).join(", ") || "none";
    const place = told.first_row + (rows.place ? rows.place[i] : i);
    const amps = between(all.ampsLow, all.ampsHigh, 2, "A");
    const head = single
      ? `Row ${place.toLocaleString("en")}, ${clock(rows.t[i], 1)}: ${number(rows.mean[i], 3, "V")}${all.low < all.high ? ` (${volts})` : ""}`
      : `${(end - i).toLocaleString("en")} rows, ${clock(rows.t[i], 1)} to ${clock(rows.t[end - 1], 1)}: ${volts}`;
    readout.textContent = `${head}${rows.amps ? `, ${amps}` : ""}; ${states}; warnings: ${warnings}`;
  }

  // ---- hands ----

  const timeAt = (event) =>
    view.from + ((event.clientX - main.getBoundingClientRect().left - box.left) / box.width) * (view.to - view.from);

  function point(t) { // the piece that lies nearest
    const { found } = pieces(rows, view.from, view.to, box.width), at = ((t - view.from) / (view.to - view.from)) * box.width;
    cursor = found.reduce((best, one) => (Math.abs(one.x - at) < Math.abs(best.x - at) ? one : best), found[0]) || null;
    ask();
  }

  function stepTo(by) {
    const now = cursor ? cursor.i : lowerBound(rows.t, (view.from + view.to) / 2);
    const i = Math.min(rows.n - 1, Math.max(0, now + by)), half = (view.to - view.from) / 2;
    cursor = { i, end: i + 1 };
    if (rows.t[i] < view.from || rows.t[i] > view.to) look(rows.t[i] - half, rows.t[i] + half);
    ask();
  }

  main.addEventListener("wheel", (event) => {
    const span = view.to - view.from, aside = (event.deltaX / box.width) * span;
    if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) look(view.from + aside, view.to + aside);
    else if (event.deltaY > 0 && span >= (whole.to - whole.from) * 0.999) return; // nothing left to show: the page scrolls
    else zoom(Math.exp(Math.max(-0.7, Math.min(0.7, event.deltaY * 0.003))), timeAt(event));
    event.preventDefault();
  }, { passive: false });

  const fingers = new Map();
  main.addEventListener("pointerdown", (event) => {
    fingers.set(event.pointerId, event.clientX);
    main.setPointerCapture(event.pointerId);
    point(timeAt(event));
  });
  main.addEventListener("pointermove", (event) => {
    readout.setAttribute("aria-live", "off");
    const before = fingers.get(event.pointerId);
    if (before !== undefined) {
      const [other] = [...fingers].filter(([id]) => id !== event.pointerId).map(([, x]) => x);
      const by = ((event.clientX - before) / box.width) * (view.to - view.from);
      fingers.set(event.pointerId, event.clientX);
      if (other === undefined) look(view.from - by, view.to - by);
      else {
        const apart = (x) => Math.max(8, Math.abs(x - other));
        zoom(apart(before) / apart(event.clientX), timeAt({ clientX: other }));
      }
    }
    point(timeAt(event));
  });
  for (const kind of ["pointerup", "pointercancel"]) main.addEventListener(kind, (event) => fingers.delete(event.pointerId));
  main.addEventListener("pointerleave", (event) => {
    if (event.pointerType !== "mouse") return;
    cursor = null;
    ask();
  });
  main.addEventListener("dblclick", (event) => zoom(0.25, timeAt(event)));

  main.addEventListener("keydown", (event) => {
    const keys = {
      "+": () => zoom(0.5),
      "=": () => zoom(0.5),
      "-": () => zoom(2),
      Home: reset,
      ArrowLeft: () => (event.shiftKey ? stepTo(-1) : pan(-0.15)),
      ArrowRight: () => (event.shiftKey ? stepTo(1) : pan(0.15)),
    };
    if (!keys[event.key] || event.ctrlKey || event.altKey || event.metaKey) return;
    readout.setAttribute("aria-live", "polite");
    keys[event.key]();
    event.preventDefault();
  });

  const slide = (event) => {
    if (!(event.buttons & 1)) return;
    const at = (event.clientX - strip.getBoundingClientRect().left - box.left) / box.width;
    const t = whole.from + at * (whole.to - whole.from), half = (view.to - view.from) / 2;
    look(t - half, t + half);
  };
  strip.addEventListener("pointerdown", (event) => {
    strip.setPointerCapture(event.pointerId);
    slide(event);
  });
  strip.addEventListener("pointermove", slide);

  // ---- links ----

  // A link's place: #drive=N with row=, t= or from= and to=. A row inside an episode or a crank shows all of that.
  function follow() {
    const asks = new URLSearchParams(location.hash.slice(1)), get = (name) => Number(asks.get(name) ?? NaN);
    if (get("drive") !== told.number) return;
    const row = get("row") - told.first_row, i = rows.place ? rows.place.indexOf(row) : row;
    const t = i in rows.t ? rows.t[i] : get("t");
    let [from, to] = [get("from"), get("to")];
    if (!(to >= from)) {
      const around = [...told.cranks, ...told.episodes].find((one) => t >= one.from - 0.01 && t <= one.to + 0.01);
      [from, to] = around ? [around.from, around.to] : [t - 1, t];
    }
    if (!(to >= from)) return;
    marked = { from, to };
    const edge = Math.max(0.35 * (to - from), 8);
    look(from - edge, to + edge);
    const at = i in rows.t ? i : Math.min(rows.n - 1, lowerBound(rows.t, from + 0.001)); // a row ends at its time
    cursor = { i: at, end: at + 1 };
    figure.dataset.marked = `${from} ${to}`;
    figure.scrollIntoView({ block: "center" });
  }
  window.addEventListener("hashchange", follow);
  document.addEventListener("click", (event) => { // the same link once more moves nothing by itself
    const link = event.target.closest?.("a");
    if (link && location.hash && link.getAttribute("href") === location.hash) follow();
  });
  new ResizeObserver(ask).observe(panel);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", ask);
  look(whole.from, whole.to);
  follow();
}

document.querySelectorAll("figure.chart").forEach(chart);
