// The ear in the browser: the same steps as harmonylib/hearing, with the same table of weights.
const EAR = (() => {
  const RATE = 22050;
  const LONG = 16384;
  const SHORT = 8192;
  const FRAME = 512;
  const HOP = 128;
  const SIDE = 10;
  const QUIET = 1e-9;
  const FAINT = 3e-3;
  const HEARD = 1;
  const TAPS = 24;
  const FIRST = 22;
  const LAST = 102;
  const LOWEST = 35;
  const HIGHEST = 88;
  const HARMONICS = 8;
  const STIFF = 6e-5;
  const HIDDEN = -1;
  const OFF_TUNE_CENTS = 15;
  const AGREE_CENTS = 15;
  const WIDE = 0.027;

  const stretch = (h) => h * Math.sqrt(1 + STIFF * h * h);
  const base = (midi) => 440 * 2 ** ((midi - 69) / 12);
  const ORDERS = 12;
  const PLACES = Float64Array.from({ length: 128 * ORDERS }, (_, n) => base(Math.floor(n / ORDERS)) * stretch((n % ORDERS) + 1));
  const place = (midi, h) => PLACES[midi * ORDERS + h - 1];
  const seen = (midi, h) => place(midi, h) >= 75 && place(midi, h) <= 4140;
  const sum = (row) => row.reduce((total, value) => total + value, 0);
  const mean = (row) => (row.length ? sum(row) / row.length : 0);
  // as Python rounds: a half goes to the even neighbour
  const round = (value) => (Math.abs(value % 1) === 0.5 ? 2 * Math.round(value / 2) : Math.round(value));
  const median = (row) => {
    const sorted = Float64Array.from(row).sort();
    const half = sorted.length >> 1;
    return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
  };

  // The windowed sinc is worked out once for each phase of a rate: 147 of them at 48,000 samples a second.
  const kernels = {};
  function kernel(rate) {
    if (kernels[rate]) return kernels[rate];
    const step = rate / RATE;
    const wide = Math.max(1, step);
    const reach = Math.ceil(TAPS * wide);
    const phases = Array.from({ length: RATE / common(rate, RATE) }, (_, n) => {
      const at = n * step;
      return Float64Array.from({ length: 2 * reach }, (_, tap) => {
        const away = (Math.floor(at) + tap + 1 - reach - at) / wide;
        const sinc = away === 0 ? 1 : Math.sin(Math.PI * away) / (Math.PI * away);
        return (sinc * Math.cos((Math.PI / 2) * Math.max(-1, Math.min(1, away / TAPS))) ** 2) / wide;
      });
    });
    return (kernels[rate] = { step, reach, phases });
  }
  const common = (a, b) => (b ? common(b, a % b) : a);

  function resampled(samples, rate) {
    if (rate === RATE) return Float64Array.from(samples);
    const { step, reach, phases } = kernel(Math.round(rate));
    const out = new Float64Array(Math.floor(samples.length / step));
    for (let n = 0; n < out.length; n++) {
      const weights = phases[n % phases.length];
      const from = Math.floor(n * step) + 1 - reach;
      const end = Math.min(weights.length, samples.length - from);
      let total = 0;
      for (let tap = Math.max(0, -from); tap < end; tap++) total += samples[from + tap] * weights[tap];
      out[n] = total;
    }
    return out;
  }

  const windows = {};
  function hann(size) {
    windows[size] ??= Float64Array.from({ length: size }, (_, n) => 0.5 - 0.5 * Math.cos((2 * Math.PI * n) / size));
    return windows[size];
  }

  const turns = {};
  function fft(re, im) {
    const size = re.length;
    turns[size] ??= {
      cos: Float64Array.from({ length: size / 2 }, (_, n) => Math.cos((2 * Math.PI * n) / size)),
      sin: Float64Array.from({ length: size / 2 }, (_, n) => -Math.sin((2 * Math.PI * n) / size)),
    };
    const { cos, sin } = turns[size];
    for (let n = 1, back = 0; n < size; n++) {
      let bit = size >> 1;
      for (; back & bit; bit >>= 1) back ^= bit;
      back ^= bit;
      if (n < back) {
        [re[n], re[back]] = [re[back], re[n]];
        [im[n], im[back]] = [im[back], im[n]];
      }
    }
    for (let span = 1; span < size; span *= 2) {
      const skip = size / (2 * span);
      for (let start = 0; start < size; start += 2 * span) {
        for (let n = 0; n < span; n++) {
          const low = start + n;
          const high = low + span;
          const c = cos[n * skip];
          const s = sin[n * skip];
          const a = re[high] * c - im[high] * s;
          const b = re[high] * s + im[high] * c;
          re[high] = re[low] - a;
          im[high] = im[low] - b;
          re[low] += a;
          im[low] += b;
        }
      }
    }
  }

  function energies(samples) {
    if (samples.length < FRAME) return new Float64Array(0);
    const out = new Float64Array(Math.floor((samples.length - FRAME) / HOP) + 1);
    const low = round((300 * FRAME) / RATE);
    const high = round((6000 * FRAME) / RATE);
    const shape = hann(FRAME);
    const re = new Float64Array(FRAME);
    const im = new Float64Array(FRAME);
    for (let frame = 0; frame < out.length; frame += 2) { // two frames in one transform, the second as imaginary part
      const at = frame * HOP;
      for (let n = 0; n < FRAME; n++) {
        re[n] = samples[at + n] * shape[n];
        im[n] = (samples[at + HOP + n] ?? 0) * shape[n];
      }
      fft(re, im);
      let first = 0;
      let second = 0;
      for (let bin = low; bin <= high; bin++) {
        const far = FRAME - bin;
        first += (re[bin] + re[far]) ** 2 + (im[bin] - im[far]) ** 2;
        second += (im[bin] + im[far]) ** 2 + (re[bin] - re[far]) ** 2;
      }
      out[frame] = first / 4 / FRAME ** 2;
      if (frame + 1 < out.length) out[frame + 1] = second / 4 / FRAME ** 2;
    }
    return out;
  }

  function onset(samples) {
    const energy = energies(samples);
    if (energy.length < 2 * SIDE + 1) return { start: 0, strength: 0 };
    const total = new Float64Array(energy.length + 1);
    energy.forEach((value, n) => (total[n + 1] = total[n] + value));
    const plain = (n) => (total[n + SIDE] - total[n]) / SIDE;
    let loudest = 0;
    for (let n = 0; n + SIDE <= energy.length; n++) loudest = Math.max(loudest, plain(n));
    const level = (n) => plain(n) + QUIET + FAINT * loudest;
    let best = 0;
    let strength = -Infinity;
    for (let n = 0; n + 2 * SIDE <= energy.length; n++) {
      const rise = Math.log(level(n + SIDE) / level(n));
      if (rise > strength) [best, strength] = [n, rise];
    }
    const before = level(best);
    const after = Math.max(...energy.subarray(best + SIDE, best + 2 * SIDE));
    let frame = best + SIDE / 2;
    while (frame < best + 2 * SIDE - 1 && energy[frame] <= before + 0.05 * (after - before)) frame++;
    return { start: frame * HOP + FRAME / 2, strength };
  }

  function magnitude(samples, start, size) {
    const re = new Float64Array(size);
    const im = new Float64Array(size);
    const shape = hann(size);
    for (let n = 0; n < size; n++) re[n] = (samples[start + n] ?? 0) * shape[n];
    fft(re, im);
    return Float64Array.from({ length: round((4400 * size) / RATE) }, (_, n) => Math.hypot(re[n], im[n]) * (2 / size));
  }

  function floorOf(row, half) {
    const mirrored = (n) => (n < 0 ? row[-n] : n >= row.length ? row[2 * (row.length - 1) - n] : row[n]);
    const marks = [];
    for (let at = 0; at < row.length; at += 16) {
      const near = Float64Array.from({ length: 2 * half + 1 }, (_, n) => mirrored(at - half + n)).sort();
      marks.push(near[Math.floor(0.3 * 2 * half)]);
    }
    return Float64Array.from(row, (_, n) => {
      const mark = n >> 4;
      if (mark >= marks.length - 1) return marks[marks.length - 1];
      return marks[mark] + ((marks[mark + 1] - marks[mark]) * (n % 16)) / 16;
    });
  }

  function whitened(row, before, size) {
    const under = floorOf(row, round((250 * size) / RATE / 2));
    const fresh = row.map((value, n) => Math.max(value - 0.3 * before[n] - 1.6 * under[n], 0));
    const half = round((500 * size) / RATE / 2);
    const total = new Float64Array(row.length + 1);
    fresh.forEach((value, n) => (total[n + 1] = total[n] + value * value));
    const white = fresh.map((value, n) => {
      const low = Math.max(n - half, 0);
      const high = Math.min(n + half + 1, row.length);
      return Math.sqrt(value / (Math.sqrt((total[high] - total[low]) / (high - low)) + 1e-12) ** 0.75);
    });
    const most = Float64Array.from(white).sort()[Math.floor(0.995 * (white.length - 1))];
    return white.map((value) => value / (most + 1e-12));
  }

  function spectra(samples, start) {
    const before = magnitude(samples, start - round(0.05 * RATE) - LONG, LONG);
    const long = magnitude(samples, start + round(0.09 * RATE), LONG);
    const short = magnitude(samples, start + round(0.05 * RATE), SHORT);
    return [whitened(long, before, LONG), whitened(short, short.map((_, n) => before[2 * n]), SHORT)];
  }

  function detuning(long, asked) {
    const places = asked.flatMap((midi) => [1, 2, 3, 4, 5, 6].filter((h) => seen(midi, h)).map((h) => place(midi, h)));
    let best = 0;
    let most = -Infinity;
    for (let cents = -40; cents <= 40; cents += 2) {
      let total = -1e-3 * Math.abs(cents);
      for (const hz of places) {
        const at = (hz * 2 ** (cents / 1200) * LONG) / RATE;
        const low = Math.floor(at);
        if (low >= long.length - 1) total += long[long.length - 1];
        else total += long[low] + (long[low + 1] - long[low]) * (at - low);
      }
      if (total > most) [best, most] = [cents, total];
    }
    return best;
  }

  function strength(white, size, midi, h, cents) {
    if (!seen(midi, h)) return 0;
    const centre = place(midi, h) * 2 ** (cents / 1200);
    const half = Math.max(2.7, 0.008 * centre);
    const within = (bin) => Math.max(0, Math.min(white.length - 1, bin));
    const low = within(Math.ceil(((centre - half) * size) / RATE));
    const high = Math.max(low, within(Math.floor(((centre + half) * size) / RATE)));
    let most = 0;
    for (let bin = low; bin <= high; bin++) most = Math.max(most, white[bin]);
    return most;
  }

  function isOwn(midi, h, asked) {
    if (!seen(midi, h)) return false;
    const hz = place(midi, h);
    const apart = Math.max(6, 0.012 * hz);
    for (const other of asked) {
      if (other === midi) continue;
      for (let k = 1; k <= ORDERS; k++) if (Math.abs(hz - place(other, k)) <= apart) return false;
    }
    return true;
  }

  // One row for each note from LOWEST to HIGHEST, and whether it can be judged.
  function features(long, short, asked) {
    const cents = detuning(long, asked);
    const orders = Array.from({ length: HARMONICS }, (_, n) => n + 1);
    const notes = Array.from({ length: LAST - FIRST + 1 }, (_, n) => {
      const midi = FIRST + n;
      const mine = orders.map((h) => isOwn(midi, h, asked));
      const strong = orders.map((h) => strength(long, LONG, midi, h, cents));
      const early = orders.map((h) => strength(short, SHORT, midi, h, cents));
      const strongOwn = strong.map((value, h) => value * mine[h]);
      const earlyOwn = early.map((value, h) => value * mine[h]);
      const count = sum(mine.map(Number));
      const part = (row, from) => {
        const kept = row.filter((_, h) => h % 2 === from && mine[h]);
        return kept.length ? sum(kept) / kept.length : 0;
      };
      return {
        midi, mine, strong, strongOwn, earlyOwn, count,
        mean: sum(strongOwn) / Math.max(count, 1),
        earlyMean: sum(earlyOwn) / Math.max(count, 1),
        most: Math.max(...strongOwn),
        least: count ? Math.min(...strong.filter((_, h) => mine[h])) : 0,
        odds: part(strong, 0),
        evens: part(strong, 1),
        low: mean(strong.slice(0, 4)),
        every: sum(strong) / Math.max(orders.filter((h) => seen(midi, h)).length, 1),
      };
    });
    const around = (midi) => notes[(midi - FIRST + notes.length) % notes.length].mean;
    const level = mean(asked.map((midi) => around(midi)));
    const rows = notes.slice(LOWEST - FIRST, HIGHEST - FIRST + 1).map((note) => [
      ...note.strongOwn,
      ...note.mine.map(Number),
      ...note.earlyOwn.slice(0, 6),
      note.mean, note.earlyMean, note.most, note.least, note.odds, note.evens, note.low, note.every,
      note.count / HARMONICS,
      ...[1, -1, 12, -12, 7, -7, -19].map((steps) => around(note.midi + steps)),
      level,
      note.mean - level,
      (note.midi - 60) / 24,
      Number(asked.includes(note.midi - 12)),
      Number(asked.includes(note.midi + 12)),
    ]);
    const judged = rows.map((_, n) => notes[n + LOWEST - FIRST].count > 0);
    return { rows, judged, cents };
  }

  function scored(row, network) {
    const given = row.map((value, n) => (value - network.mean[n]) / network.scale[n]);
    return network.b1.reduce((score, start, unit) => {
      let total = start;
      for (let n = 0; n < given.length; n++) total += given[n] * network.w1[n][unit];
      return score + Math.tanh(total) * network.w2[unit];
    }, network.b2);
  }

  function listened(samples, asked, table) {
    const { start, strength: rise } = onset(samples);
    const [long, short] = spectra(samples, start);
    const { rows, judged, cents } = features(long, short, asked);
    const own = new Map();
    const foreign = new Map();
    rows.forEach((row, n) => {
      const midi = LOWEST + n;
      if (!judged[n]) return;
      if (asked.includes(midi)) own.set(midi, scored(row, table.asked));
      else foreign.set(midi, scored(row, table.foreign));
    });
    return { start, strength: rise, cents, long, own, foreign };
  }

  function deviations(long, asked, cents) {
    const found = new Map();
    for (const midi of asked) {
      const offs = [];
      for (let h = 1; h <= 4; h++) {
        const hz = place(midi, h) * 2 ** (cents / 1200);
        const centre = (hz * LONG) / RATE;
        const half = Math.max(2, WIDE * centre);
        const low = Math.ceil(centre - half);
        const high = Math.floor(centre + half) + 1;
        if (!isOwn(midi, h, asked) || hz < 140 || high > long.length - 1) continue;
        let top = low;
        for (let bin = low; bin < high; bin++) if (long[bin] > long[top]) top = bin;
        const [before, peak, after] = long.subarray(top - 1, top + 2);
        if (peak < 0.4 || before > peak || after > peak) continue;
        const bend = before - 2 * peak + after;
        offs.push(1200 * Math.log2((top + (bend ? (0.5 * (before - after)) / bend : 0)) / centre));
      }
      if (offs.length >= 2 && Math.max(...offs) - Math.min(...offs) <= AGREE_CENTS) found.set(midi, median(offs));
    }
    return found;
  }

  const odds = (margin) => 1 / (1 + Math.exp(-Math.min(Math.abs(margin), 30)));
  const least = (row, key) => row.reduce((a, b) => (key(b) < key(a) ? b : a));

  function offTune(heard, question) {
    const away = deviations(heard.long, question.midi, heard.cents);
    if (away.size < 2) return [0, ""];
    const middle = median(away.values());
    const note = least([...away.keys()], (midi) => -Math.abs(away.get(midi) - middle));
    const cents = away.get(note) - middle;
    if (Math.abs(cents) < OFF_TUNE_CENTS) return [0, ""];
    const name = question.names[question.midi.indexOf(note)];
    return [note, `${name} is about ${round(Math.abs(cents))} cents ${cents > 0 ? "high" : "low"}`];
  }

  // The verdict on a take (mono samples) for a question, as harmonylib.hearing gives it.
  function hear(samples, rate, question, table) {
    const heard = listened(resampled(samples, rate), question.midi, table);
    const said = (kind, text, margin) => ({
      kind, text, sure: odds(margin), cents: heard.cents, deaf: kind === "nothing" ? [] : question.deaf,
      start: heard.start, strength: heard.strength,
    });
    if (heard.strength < HEARD) return said("nothing", "nothing heard", 4 * (1 - heard.strength) + 1);
    const worst = (scores, without, none, pick) => {
      const kept = [...scores].filter(([midi]) => !without.includes(midi)).map(([, score]) => score);
      return kept.length ? pick(...kept) : none;
    };
    const weakest = (gone) => worst(heard.own, gone, 0, Math.min) - table.accept.asked;
    const fits = (gone, fresh) => Math.min(weakest(gone), table.accept.foreign - worst(heard.foreign, fresh, -9, Math.max));
    const margin = fits([], []);
    if (margin > 0) {
      const [, off] = offTune(heard, question);
      return off ? said("tune", `sounds right; ${off}`, margin) : said("right", "sounds right", margin);
    }
    const score = ({ gone, new: fresh }) =>
      sum(fresh.map((midi) => heard.foreign.get(midi) ?? HIDDEN)) - sum(gone.map((midi) => heard.own.get(midi) ?? -HIDDEN));
    const ranked = question.alternatives.map((other) => ({ other, score: score(other) })).sort((a, b) => b.score - a.score);
    const best = ranked[0]?.other;
    if (best && fits(best.gone, best.new) > 0) {
      const lead = ranked[0].score - Math.max(0, ranked[1]?.score ?? 0);
      const [midi, off] = best.kind === "missing" ? offTune(heard, question) : [0, ""];
      const [kind, text] = best.gone[0] === midi ? ["off tune", off] : [best.kind, best.text];
      if (lead >= (table.named[kind] ?? Infinity)) return said(kind, text, lead);
    }
    if (weakest([]) > 0) return said("unsure", "listen again: is a string sounding that should not?", margin);
    const note = least([...heard.own.keys()], (midi) => heard.own.get(midi));
    return said("unsure", `listen again: ${question.names[question.midi.indexOf(note)]}?`, margin);
  }

  return { LONG, QUIET, RATE, base, fft, hann, hear, magnitude, mean, onset, resampled, round, stretch, sum, whitened };
})();
