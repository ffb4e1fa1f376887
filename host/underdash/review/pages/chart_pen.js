// How a drive is painted. A scene is all that a picture depends on: rows, what is told of them, view, box and colours.

// A small tile of lines for a state's hatch, so that no state is told by its colour alone.
function hatch(kind, ink) {
  const tile = document.createElement("canvas"), pen = tile.getContext("2d");
  tile.width = tile.height = 6;
  pen.strokeStyle = ink;
  pen.globalAlpha = 0.75;
  const lines = { "/": [[-1, 7, 7, -1]], "\\": [[-1, -1, 7, 7]], "|": [[3, 0, 3, 6]], "-": [[0, 3, 6, 3]] };
  lines.x = [...lines["/"], ...lines["\\"]];
  lines["+"] = [...lines["|"], ...lines["-"]];
  for (const line of lines[kind] || []) strokeLine(pen, ...line);
  return pen.createPattern(tile, "repeat");
}

// Line over the pieces, broken at holes and where nothing was measured; a dot for each row where there is room.
function curve(pen, drawn, low, high, x, y, colour) {
  pen.strokeStyle = pen.fillStyle = colour;
  pen.lineWidth = 1.3;
  pen.beginPath();
  let down = false;
  drawn.found.forEach((piece, at) => {
    if (!Number.isFinite(piece[low])) { down = false; return; }
    if (piece.broken) down = false;
    const next = drawn.found[at + 1], alone = !down && (!next || next.broken || !Number.isFinite(next[low]));
    pen[down ? "lineTo" : "moveTo"](x(piece.x), y(piece[low]));
    pen.lineTo(x(piece.x), y(piece[high]));
    down = true;
    if (drawn.apart > 7 || alone) {
      pen.moveTo(x(piece.x) + 2.6, y(piece[low]));
      pen.arc(x(piece.x), y(piece[low]), 2.6, 0, 7);
      pen.moveTo(x(piece.x), y(piece[high]));
    }
  });
  pen.stroke();
}

function band(pen, drawn, low, high, x, y, colour, alpha) {
  const runs = [];
  for (const piece of drawn.found) {
    if (!Number.isFinite(piece[low])) { runs.push([]); continue; }
    if (!runs.length || piece.broken) runs.push([]);
    runs[runs.length - 1].push(piece);
  }
  pen.fillStyle = colour;
  pen.globalAlpha = alpha;
  for (const run of runs.filter((one) => one.length)) {
    pen.beginPath();
    if (run.length === 1 && !drawn.single) pen.rect(x(run[0].x0), y(run[0][high]), 1, y(run[0][low]) - y(run[0][high]));
    run.forEach((piece) => pen.lineTo(x(piece.x), y(piece[high])));
    run.reverse().forEach((piece) => pen.lineTo(x(piece.x), y(piece[low])));
    pen.fill();
  }
  pen.globalAlpha = 1;
}

// Whole steps that hold the values seen; a crank's short dip does not squash the rest, unless it is looked at.
function scale(drawn, low, high, least, most, crankBit) {
  const dips = drawn.found.map((piece) => (piece.states & crankBit) !== 0);
  const few = dips.filter(Boolean).length < 0.06 * drawn.found.length;
  drawn.found.forEach((piece, at) => {
    if (few && (dips[at - 1] || dips[at] || dips[at + 1])) return;
    least = Math.min(least, piece[low]);
    most = Math.max(most, piece[high]);
  });
  const step = [0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500].find((one) => (most - least) / one <= 8) || 1000;
  return { least: Math.floor(least / step + 0.001) * step, most: Math.ceil(most / step - 0.001) * step, step };
}

const COLOURS = { ink: "--ink", soft: "--soft", rule: "--rule", card: "--card", volts: "--plot-volts" };
const coloursOf = (element) => {
  const style = getComputedStyle(element);
  return Object.fromEntries(Object.entries(COLOURS).map(([name, variable]) => [name, style.getPropertyValue(variable).trim()]));
};

function strokeLine(pen, x0, y0, x1, y1) {
  pen.beginPath();
  pen.moveTo(x0, y0);
  pen.lineTo(x1, y1);
  pen.stroke();
}

// Words that stay readable on whatever they stand.
function write({ pen, colours }, words, x, y, bold = false) {
  const font = pen.font;
  if (bold) pen.font = `bold ${font}`;
  pen.strokeStyle = colours.card;
  pen.lineWidth = 3;
  pen.strokeText(words, x, y);
  pen.fillStyle = colours.ink;
  pen.fillText(words, x, y);
  pen.font = font;
}

function clipped({ pen, box }, top, tall, paint, edge = 0) {
  pen.save();
  pen.beginPath();
  pen.rect(box.left - edge, top, box.width + 2 * edge, tall);
  pen.clip();
  paint();
  pen.restore();
}

// Where everything goes on a picture so wide.
function layOut(wide, told, rows, lanes, days) {
  const narrow = wide < 620, left = narrow ? 40 : 78, right = narrow ? 10 : 164, top = 8, volts = narrow ? 190 : 250;
  const amps = rows.amps ? 116 : 0, ampsTop = top + volts + 18, lanesTop = ampsTop + (amps ? amps + 12 : 0);
  const named = narrow ? 16 : 0, lane = 15; // on a narrow screen a lane's name stands above its bar
  const bottom = lanesTop + lanes.length * (lane + named);
  return { narrow, wide, left, top, volts, amps, ampsTop, lanesTop, named, lane, bottom, tall: bottom + (days ? 36 : 24), strip: 40,
    width: Math.max(50, Math.floor(wide - left - right)) };
}

// One quantity's panel: episodes shaded, values at the left; returns where a value lies.
function panelOf(scene, top, tall, range, unit, paint) {
  const { pen, box, colours, told, xOf } = scene;
  const y = (value) => top + tall - ((value - range.least) / (range.most - range.least)) * tall;
  clipped(scene, top, tall, () => {
    pen.fillStyle = told.mark_colour;
    pen.globalAlpha = 0.14;
    for (const one of told.episodes) pen.fillRect(xOf(one.from), top, Math.max(2, xOf(one.to) - xOf(one.from)), tall);
    pen.globalAlpha = 1;
  });
  pen.fillStyle = colours.ink;
  pen.strokeStyle = colours.rule;
  pen.lineWidth = 1;
  pen.textAlign = "right";
  for (let value = range.least; value <= range.most + range.step / 9; value += range.step) {
    pen.fillText(signed(value, range.step < 1 ? 1 : 0), box.left - 6, y(value));
    strokeLine(pen, box.left, y(value), box.left + box.width, y(value));
  }
  pen.save();
  pen.translate(box.narrow ? 6 : 12, top + tall / 2);
  pen.rotate(-Math.PI / 2);
  pen.textAlign = "center";
  pen.fillText(unit, 0, 0);
  pen.restore();
  clipped(scene, top, tall, () => paint(y), 3); // a dot at the edge is a whole one
  return y;
}

function drawVolts(scene) {
  const { pen, box, colours, told, drawn, x } = scene;
  const range = scale(drawn, "low", "high", 12.0, 15.5, scene.crankBit);
  scene.y = panelOf(scene, box.top, box.volts, range, "bus [V]", (y) => {
    band(pen, drawn, "low", "high", x, y, colours.volts, 0.28);
    curve(pen, drawn, "meanLow", "meanHigh", x, y, colours.volts);
  });
  const right = box.left + box.width;
  let taken = -Infinity; // names at the edge that would touch are pushed apart
  for (const line of told.lines) {
    if (line.volts < range.least || line.volts > range.most) continue;
    const at = scene.y(line.volts);
    pen.strokeStyle = line.colour;
    pen.lineWidth = 1.2;
    pen.setLineDash(line.dash);
    strokeLine(pen, box.left, at, right, at);
    pen.setLineDash([]);
    pen.textAlign = box.narrow ? "right" : "left";
    pen.fillStyle = colours.ink;
    taken = Math.max(at, taken + 13);
    if (box.narrow) write(scene, `${line.name} ${line.volts.toFixed(2)}`, right - 3, at + (line.words_above ? -7 : 8));
    else pen.fillText(`${line.name} ${line.side} ${line.volts.toFixed(2)} V`, right + 8, taken);
  }
  drawMarks(scene);
}

// Numbers of the episodes, triangles of the cranks, a bracket around what was asked for, and what no row tells of.
function drawMarks(scene) {
  const { pen, box, colours, told, rows, xOf, marked } = scene, right = box.left + box.width, foot = box.top + box.volts;
  pen.textAlign = "center";
  for (const i of rows.holes) {
    const from = Math.max(box.left, xOf(rows.t[i - 1])), to = Math.min(right, xOf(rows.t[i]));
    if (to - from < 60) continue;
    pen.fillStyle = hatch("/", colours.ink);
    pen.globalAlpha = 0.25;
    pen.fillRect(from, box.top, to - from, box.volts);
    pen.globalAlpha = 1;
    write(scene, "no rows", (from + to) / 2, box.top + box.volts / 2);
  }
  let last = -Infinity;
  for (const one of told.episodes) {
    const from = Math.max(box.left, xOf(one.from)), to = Math.min(right, xOf(one.to)), middle = (from + to) / 2;
    if (to < box.left || from > right || middle - last < 16) continue;
    last = middle;
    write(scene, to - from > 110 ? `${one.number} ${one.kind}` : String(one.number), middle, box.top + 9, true);
  }
  last = -Infinity;
  for (const one of told.cranks) {
    const at = xOf((one.from + one.to) / 2), late = at > right - 130;
    if (at < box.left || at > right) continue;
    pen.fillStyle = colours.ink;
    pen.beginPath();
    pen.moveTo(at - 5, foot - 12);
    pen.lineTo(at + 5, foot - 12);
    pen.lineTo(at, foot - 3);
    pen.fill();
    if (at - last < 120) continue;
    last = at;
    pen.textAlign = late ? "right" : "left";
    write(scene, one.label, at + (late ? -9 : 9), foot - 9);
  }
  if (!marked) return;
  const from = xOf(marked.from), to = Math.max(xOf(marked.to), from + 3), top = box.top + 20;
  pen.save();
  pen.beginPath();
  pen.rect(box.left - 2, 0, box.width + 4, foot);
  pen.clip();
  pen.strokeStyle = colours.ink;
  pen.lineWidth = 3;
  pen.beginPath();
  pen.moveTo(from, top + 14);
  pen.lineTo(from, top);
  pen.lineTo(to, top);
  pen.lineTo(to, top + 14);
  pen.stroke();
  pen.restore();
}

function drawAmps(scene) {
  const { pen, box, colours, told, drawn, x } = scene, range = scale(drawn, "ampsLow", "ampsHigh", -5, 5, scene.crankBit);
  for (const piece of drawn.found) {
    piece.zero = Number.isFinite(piece.ampsLow) ? 0 : NaN;
    piece.into = Math.max(0, piece.ampsHigh);
    piece.out = Number.isFinite(piece.ampsLow) ? Math.min(0, piece.ampsLow) : NaN;
  }
  const y = panelOf(scene, box.ampsTop, box.amps, range, "battery [A]", (up) => {
    band(pen, drawn, "zero", "into", x, up, told.in_colour, 0.3);
    band(pen, drawn, "out", "zero", x, up, told.mark_colour, 0.3);
    curve(pen, drawn, "ampsLow", "ampsHigh", x, up, colours.volts);
  });
  const right = box.left + box.width;
  pen.strokeStyle = pen.fillStyle = colours.ink;
  pen.lineWidth = 1;
  strokeLine(pen, box.left, y(0), right, y(0));
  if (box.narrow) return;
  pen.textAlign = "left";
  pen.fillText("into the battery", right + 8, Math.min(y(range.most / 2), y(0) - 8));
  pen.fillText("out of the battery", right + 8, Math.max(y(range.least / 2), y(0) + 8));
}

// A named lane for each state, so that the verdict does not rest on a colour, and one for the warnings shown.
function drawLanes(scene, lanes) {
  const { pen, box, colours, told, drawn, x } = scene;
  lanes.forEach((lane, at) => {
    const top = box.lanesTop + at * (box.lane + box.named) + box.named, tall = box.lane - 2;
    pen.fillStyle = colours.ink;
    pen.textAlign = box.narrow ? "left" : "right";
    pen.fillText(lane.name, box.narrow ? box.left : box.left - 6, box.narrow ? top - 6 : top + tall / 2);
    clipped(scene, top, tall, () => {
      for (const fill of [lane.colour || colours.ink, hatch(lane.hatch, told.hatch_colour)]) {
        pen.fillStyle = fill;
        for (const piece of drawn.found) {
          const on = lane.bit ? piece.states & lane.bit : piece.warnings;
          if (on) pen.fillRect(x(piece.x0), top, Math.max(1.5, piece.x1 - piece.x0 + 0.6), tall);
        }
      }
    });
  });
}

function drawTimes(scene) {
  const { pen, box, colours, view, told, clock, xOf } = scene, zero = told.zero_s; // round times are the clock's
  const step = STEPS_S.find((one) => (view.to - view.from) / one <= box.width / (box.narrow ? 66 : 82)) || 604800;
  pen.fillStyle = pen.strokeStyle = colours.soft;
  pen.lineWidth = 1;
  pen.textAlign = "center";
  for (let t = Math.ceil((view.from - zero) / step) * step + zero; t <= view.to; t += step) {
    const at = xOf(t), [time, day] = clock(t, step < 1 ? 1 : 0).split(" ").reverse();
    strokeLine(pen, at, box.bottom, at, box.bottom + 4);
    if ((t < -0.01 && !told.dated) || at <= 26 || at >= box.wide - 26) continue;
    pen.fillText(time, at, box.bottom + 14);
    if (day) pen.fillText(day, at, box.bottom + 26);
  }
}

function drawCursor({ pen, box, colours, rows, drawn, cursor, xOf, y }) {
  if (!cursor) return;
  const at = xOf(rows.t[cursor.i]), volts = rows.mean[cursor.i];
  if (at < box.left || at > box.left + box.width) return;
  pen.strokeStyle = colours.ink;
  pen.lineWidth = 1;
  pen.setLineDash([2, 3]);
  strokeLine(pen, at, box.top, at, box.bottom);
  pen.setLineDash([]);
  if (!drawn.single || !(y(volts) <= box.top + box.volts)) return;
  pen.beginPath();
  pen.arc(at, y(volts), 5, 0, 7);
  pen.stroke();
}

// The whole drive in small, and the part of it that is on view.
function drawOverview({ pen, box, colours, told, rows, whole, view, crankBit }) {
  const tall = box.strip, right = box.left + box.width;
  if (rows.inSmall?.width !== box.width) rows.inSmall = { width: box.width, drawn: pieces(rows, whole.from, whole.to, box.width) };
  const { drawn } = rows.inSmall;
  const range = scale(drawn, "meanLow", "meanHigh", 12.0, 15.0, crankBit);
  const y = (value) => 4 + (tall - 8) * (1 - (Math.max(value, range.least) - range.least) / (range.most - range.least));
  const xOf = (t) => box.left + ((t - whole.from) / (whole.to - whole.from)) * box.width;
  pen.strokeStyle = colours.rule;
  pen.strokeRect(box.left + 0.5, 0.5, box.width - 1, tall - 1);
  pen.fillStyle = told.mark_colour;
  pen.globalAlpha = 0.25;
  for (const one of told.episodes) pen.fillRect(xOf(one.from), 1, Math.max(2, xOf(one.to) - xOf(one.from)), tall - 2);
  pen.globalAlpha = 1;
  curve(pen, { ...drawn, apart: 0 }, "meanLow", "meanHigh", (at) => box.left + at, y, colours.volts);
  const from = xOf(view.from), to = Math.max(from + 4, xOf(view.to));
  pen.fillStyle = pen.strokeStyle = colours.ink;
  pen.globalAlpha = 0.12;
  pen.fillRect(box.left, 0, from - box.left, tall);
  pen.fillRect(to, 0, right - to, tall);
  pen.globalAlpha = 1;
  pen.lineWidth = 2;
  pen.strokeRect(from, 1, to - from, tall - 2);
}
