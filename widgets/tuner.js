// The tuner in the browser: the same steps as harmonylib/hearing/tuner.py, on the spectra of the ear.
const TUNER = (() => {
  const { LONG, QUIET, RATE, base, fft, hann, magnitude, mean, onset, resampled, round, stretch, sum, whitened } = EAR;

  // The first partial in Hz near a coarse guess, as harmonylib.hearing.tuner finds it.
  function firstPartial(samples, start, coarse) {
    const size = 4 * LONG;
    const re = new Float64Array(size);
    const im = new Float64Array(size);
    const shape = hann(LONG);
    for (let n = 0; n < LONG; n++) re[n] = (samples[start + n] ?? 0) * shape[n];
    fft(re, im);
    const level = (bin) => Math.hypot(re[bin], im[bin]);
    const peaks = [1, 2, 3, 4, 5, 6].map((h) => {
      const centre = (coarse * stretch(h) * size) / stretch(1) / RATE;
      const half = Math.max(6, 0.012 * centre);
      let top = Math.floor(centre - half);
      for (let bin = top; bin <= centre + half; bin++) if (level(bin) > level(top)) top = bin;
      const [before, peak, after] = [-1, 0, 1].map((step) => Math.log(level(top + step) + 1e-12));
      const bend = before - 2 * peak + after;
      return { h, hz: ((top + (bend ? (0.5 * (before - after)) / bend : 0)) * RATE) / size, level: level(top) };
    });
    const most = Math.max(...peaks.map((peak) => peak.level));
    const kept = peaks.filter((peak) => peak.level > 0.03 * most);
    for (const peak of kept) peak.weight = Math.sqrt(peak.level) * peak.h;
    const total = sum(kept.map((peak) => peak.weight));
    const average = (key) => sum(kept.map((peak) => peak.weight * key(peak))) / total;
    let stiff = 0;
    if (kept.length > 2) {
      const middle = average(({ h }) => h * h);
      const square = average(({ h, hz }) => (hz / h) ** 2);
      const slope =
        average(({ h, hz }) => (h * h - middle) * ((hz / h) ** 2 - square)) / average(({ h }) => (h * h - middle) ** 2);
      stiff = Math.max(0, Math.min(4e-4, slope / (square - slope * middle)));
    }
    for (const peak of kept) peak.each = (peak.hz / peak.h) * Math.sqrt((1 + stiff) / (1 + stiff * peak.h ** 2));
    kept.sort((a, b) => a.each - b.each);
    let share = 0;
    return kept.find((peak) => (share += peak.weight) >= total / 2).each;
  }

  // Which of the open strings (MIDI numbers, lowest first) sounds, and by how many cents it is high; null when none does.
  function tuneUp(take, rate, open) {
    const own = resampled(take, rate);
    const samples = new Float64Array(own.length + Math.floor(RATE / 4));
    samples.set(own, Math.floor(RATE / 4));
    const start = onset(samples).start + round(0.05 * RATE);
    const held = samples.subarray(start, start + LONG);
    if (mean(held.map((value) => value * value)) < QUIET) return null;
    const spectrum = magnitude(samples, start, LONG);
    const white = whitened(spectrum, new Float64Array(spectrum.length), LONG);
    let best = { score: 0 };
    open.forEach((midi, number) => {
      for (let shift = -250; shift <= 250; shift += 5) {
        const hz = base(midi) * 2 ** (shift / 1200);
        let score = -1e-4 * Math.abs(shift);
        for (let h = 1; h <= 6; h++) {
          const at = (hz * stretch(h) * LONG) / stretch(1) / RATE;
          const low = Math.floor(at);
          score += (low >= white.length - 1 ? white[white.length - 1] : white[low] + (white[low + 1] - white[low]) * (at - low)) / 6;
        }
        if (score > best.score) best = { score, number, hz };
      }
    });
    if (best.score < 0.35) return null;
    const cents = 1200 * Math.log2(firstPartial(samples, start, best.hz) / base(open[best.number]));
    return { number: best.number, cents: Math.round(cents * 10) / 10 };
  }

  return { tuneUp };
})();
