// The player's strings and clicks, as waves of samples. The string is that of harmonylib.sound: two loops of one period
// with a three-tap filter that sets the pitch exactly, started by one pluck that holds what the body makes of it.

function taps(frequency, ring, dullness, sound) {
  const period = sound.RATE / frequency, length = Math.round(period), omega = 2 * Math.PI / period;
  const turn = Math.tan(omega * (period - length)), loss = Math.min(dullness / frequency, 0.5);
  let tilt = 0, outer = 0, middle = 1;
  for (let round = 0; round < 20; round++) {
    outer = loss + tilt * tilt;
    middle = 1 - outer + outer * Math.cos(omega);
    tilt = -turn * middle / Math.sin(omega);
  }
  const gain = Math.min(10 ** (-3 / (frequency * ring)) / Math.hypot(middle, tilt * Math.sin(omega)), sound.STEADY);
  return [length, gain * (outer + tilt) / 2, gain * (1 - outer), gain * (outer - tilt) / 2];
}

// By how much the body raises a frequency: the string itself, and the resonances beside it.
function body(hertz, sound) {
  let real = 1, imaginary = 0;
  for (const [centre, decibels, narrow] of sound.BODY) {
    const off = narrow * (hertz / centre - centre / hertz), raised = (10 ** (decibels / 20) - 1) / (1 + off * off);
    real += raised;
    imaginary -= raised * off;
  }
  return Math.hypot(real, imaginary);
}

function pluck(size, midi, frequency, sound) {
  let seed = midi ** 3;
  const wave = new Float64Array(size), step = 2 * Math.PI * frequency / sound.RATE;
  for (let partial = 1; partial <= Math.max(Math.floor(0.45 * sound.RATE / frequency), 1); partial++) {
    seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0; // the same phases every time, and in Python
    const phase = 2 * Math.PI * seed / 2 ** 32, soft = 1 + (partial * frequency / sound.SOFT_HZ) ** 2;
    const bodied = body(partial * frequency, sound);
    const strength = Math.sin(Math.PI * sound.PLUCKED_AT * partial) / partial / soft * bodied;
    for (let n = 0; n < size; n++) wave[n] += strength * Math.cos(step * partial * n + phase);
  }
  return wave;
}

function string(midi, sound) {
  const frequency = 440 * 2 ** ((midi - 69) / 12), octaves = (midi - 40) / 12;
  const size = Math.ceil(sound.LONGEST_S * sound.RATE), whole = new Float64Array(size), wave = new Float64Array(size);
  const period = pluck(Math.ceil(sound.RATE / frequency) + 2, midi, frequency, sound);
  for (const [share, ring, shorter, dullness] of sound.STAGES) {
    const [length, near, here, far] = taps(frequency, ring * 2 ** (-shorter * octaves), dullness, sound);
    wave.set(period.subarray(0, length + 1));
    for (let n = length + 1; n < size; n++) {
      wave[n] = near * wave[n - length + 1] + here * wave[n - length] + far * wave[n - length - 1];
    }
    for (let n = 0; n < size; n++) whole[n] += share * wave[n];
  }
  let energy = 0;
  const first = Math.floor(sound.RATE / 4), last = sound.DAMPED_S * sound.RATE, made = new Float32Array(size);
  for (let n = 0; n < first; n++) energy += whole[n] ** 2;
  const level = Math.sqrt(energy / first);
  for (let n = 0; n < size; n++) made[n] = whole[n] / level * swell(n, sound) * Math.min((size - n) / last, 1);
  return made;
}

// A sound starts softly.
function swell(n, sound) {
  const attack = Math.ceil(sound.ATTACK_S * sound.RATE);
  return n < attack ? 0.5 - 0.5 * Math.cos(Math.PI * n / (attack - 1)) : 1;
}

function tick(midi, sound) {
  const frequency = midi === sound.ACCENT ? 1800 : 1200;
  return Float32Array.from({ length: Math.ceil(sound.CLICK_S * sound.RATE) }, (_, n) => {
    const time = n / sound.RATE;
    const fading = Math.exp(-time / 0.005) * (1 - time / sound.CLICK_S);
    return 5 * Math.sin(2 * Math.PI * frequency * time) * fading * swell(n, sound);
  });
}

// Peaks above the knee are bent as in harmonylib.sound; the curve spans −4 to 4.
function bent(sound, reach = 4, size = 4097) {
  const room = sound.LOUDEST - sound.KNEE;
  return Float32Array.from({ length: size }, (_, n) => {
    const x = reach * (2 * n / (size - 1) - 1), over = Math.abs(x) - sound.KNEE;
    return over > 0 ? Math.sign(x) * (sound.KNEE + room * Math.tanh(over / room)) : x;
  });
}
