// The rows of a drive, and what of them fits on a width of pixels. (The three chart*.js become one script, in one scope.)
const BLOCK = 64; // rows that are summed up beforehand, so that a week draws as fast as an hour
const HOLE_MS = 10000, REST_HOLE_MS = 65535; // a longer step between rows is a hole (docs/journal-format.md)
const CLOSEST_S = 2; // the least time across the picture
const STEPS_S = [0.1, 0.2, 0.5, 1, 2, 5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400, 172800];
const TYPES = { Int8: Int8Array, Int16: Int16Array, Int32: Int32Array };

// ---- data ----

// A packed column: whole numbers in steps of `step`; the least number of its type stands for "not measured".
function unpack(packed) {
  const raw = atob(packed.data), bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  const whole = new TYPES[packed.type](bytes.buffer), out = new Float64Array(whole.length);
  const absent = -(2 ** (8 * whole.BYTES_PER_ELEMENT - 1));
  for (let i = 0; i < whole.length; i++) out[i] = whole[i] === absent ? NaN : whole[i] * packed.step;
  return out;
}

// The rows as columns: t [s]; low, mean, high [V]; amps [A]; states as bits, one each; warnings.
function decode(told) {
  const steps = unpack(told.step_ms), n = steps.length, mean = unpack(told.mean_mv);
  const below = unpack(told.below_mv), above = unpack(told.above_mv), state = unpack(told.state);
  const rows = { n, t: new Float64Array(n), mean, low: below, high: above, amps: told.amps_ma && unpack(told.amps_ma),
    state, warnings: unpack(told.warnings), place: told.place && unpack(told.place), holes: [] };
  let ms = told.first_ms;
  for (let i = 0; i < n; i++) {
    ms += steps[i];
    rows.t[i] = ms / 1000;
    rows.low[i] = (mean[i] - below[i]) / 1000;
    rows.high[i] = (mean[i] + above[i]) / 1000;
    mean[i] /= 1000;
    if (rows.amps) rows.amps[i] /= 1000;
    if (i && steps[i] > (told.states[state[i - 1]] === "rest" ? REST_HOLE_MS : HOLE_MS)) rows.holes.push(i);
  }
  rows.isHole = new Set(rows.holes);
  rows.blocks = [];
  for (let i = 0; i + BLOCK <= n; i += BLOCK) rows.blocks.push(sumUp(rows, i, i + BLOCK, false));
  return rows;
}

// Extremes of the rows first..last-1; by whole blocks where that is possible.
function sumUp(rows, first, last, byBlocks = true) {
  const all = { low: Infinity, high: -Infinity, meanLow: Infinity, meanHigh: -Infinity, ampsLow: Infinity,
    ampsHigh: -Infinity, states: 0, warnings: 0 };
  for (let i = first; i < last; ) {
    if (byBlocks && i % BLOCK === 0 && i + BLOCK <= last) {
      const one = rows.blocks[i / BLOCK];
      for (const name of ["low", "meanLow", "ampsLow"]) if (one[name] < all[name]) all[name] = one[name];
      for (const name of ["high", "meanHigh", "ampsHigh"]) if (one[name] > all[name]) all[name] = one[name];
      all.states |= one.states;
      all.warnings |= one.warnings;
      i += BLOCK;
      continue;
    }
    if (rows.low[i] < all.low) all.low = rows.low[i]; // "not measured" is NaN, and never less nor more
    if (rows.high[i] > all.high) all.high = rows.high[i];
    if (rows.mean[i] < all.meanLow) all.meanLow = rows.mean[i];
    if (rows.mean[i] > all.meanHigh) all.meanHigh = rows.mean[i];
    if (rows.amps && rows.amps[i] < all.ampsLow) all.ampsLow = rows.amps[i];
    if (rows.amps && rows.amps[i] > all.ampsHigh) all.ampsHigh = rows.amps[i];
    all.states |= 1 << rows.state[i];
    all.warnings |= rows.warnings[i];
    i++;
  }
  return all;
}

// Position of the first row that ends at or after t.
function lowerBound(t, wanted) {
  let first = 0, last = t.length;
  while (first < last) {
    const middle = (first + last) >> 1;
    if (t[middle] < wanted) first = middle + 1; else last = middle;
  }
  return first;
}

// What is drawn, left to right: a piece a row where there is room for that, else a piece a column of pixels.
function pieces(rows, from, to, width) {
  const first = Math.max(0, lowerBound(rows.t, from) - 1), last = Math.min(rows.n, lowerBound(rows.t, to) + 1);
  const found = [], scale = width / (to - from), single = last - first <= width;
  let hole = lowerBound(rows.holes, first + 1);
  const add = (i, end, x0, x1, x) => {
    const piece = Object.assign(sumUp(rows, i, end), { i, end, x0, x1, x, broken: false });
    while (hole < rows.holes.length && rows.holes[hole] < end) { piece.broken = true; hole++; }
    found.push(piece);
  };
  if (single) {
    for (let i = first; i < last; i++) {
      const begin = i && !rows.isHole.has(i) ? rows.t[i - 1] : rows.t[i] - 1, x1 = (rows.t[i] - from) * scale;
      add(i, i + 1, (begin - from) * scale, x1, x1);
    }
  } else {
    for (let column = 0, i = first; column < width && i < last; column++) {
      const end = Math.min(last, lowerBound(rows.t, from + (column + 1) / scale));
      if (end > i) add(i, end, column, column + 1, column + 0.5);
      i = Math.max(i, end);
    }
  }
  return { found, single, apart: single ? width / Math.max(1, last - first) : 0 };
}

// ---- words ----

// h:mm:ss since the count began.
function counted(seconds, digits = 0) {
  const whole = Math.floor(Math.abs(seconds) * 10 ** digits + 0.5) / 10 ** digits, minutes = Math.floor(whole / 60);
  const rest = (whole - minutes * 60).toFixed(digits).padStart(digits ? digits + 3 : 2, "0");
  return `${seconds < 0 && whole ? "\u2212" : ""}${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}:${rest}`;
}

// What tells a drive's moments, as review/clock.py does: the local clock, with the date on another day than its first;
// of an undated one the count. (Dates are reckoned as if local time were UTC: no zone but the drive's own counts.)
function clockOf(told) {
  if (!told.dated) return counted;
  const began = Date.parse(`${told.dated.slice(0, 19)}Z`), day = told.dated.slice(0, 10);
  return (t, digits = 0) => {
    const after = Math.floor((t - told.start_s) * 10 ** digits + 0.5) * 10 ** (3 - digits);
    const at = new Date(began + after).toISOString(), time = at.slice(11, digits ? 20 + digits : 19);
    return at.startsWith(day) ? time : `${at.slice(0, 10)} ${time}`;
  };
}

// As page.signed: a true minus, and none before nothing.
const signed = (value, digits) => value.toFixed(digits).replace(/^-(?=0\.?0*$)/, "").replace("-", "\u2212");
const number = (value, digits, unit) => (Number.isFinite(value) ? `${signed(value, digits)} ${unit}` : "not measured");
const between = (low, high, digits, unit) => {
  const [first, last] = [number(low, digits, unit), number(high, digits, unit)];
  return first === last ? first : `${first} to ${last}`;
};
