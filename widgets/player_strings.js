// The player's strings and clicks, as waves of samples. The string is that of harmonylib.sound: a loop of one period
// with a three-tap filter that sets the pitch exactly.

function taps(frequency, ring, sound) {
  const period = sound.RATE / frequency, length = Math.round(period), omega = 2 * Math.PI / period;
  const turn = Math.tan(omega * (period - length)), loss = sound.DULLNESS / frequency;
  let tilt = 0, outer = 0, middle = 1;
  for (let round = 0; round < 20; round++) {
    outer = loss + tilt * tilt;
    middle = 1 - outer + outer * Math.cos(omega);
    tilt = -turn * middle / Math.sin(omega);
  }
  const gain = 10 ** (-3 / (frequency * ring)) / Math.hypot(middle, tilt * Math.sin(omega));
  return [length, gain * (outer + tilt) / 2, gain * (1 - outer), gain * (outer - tilt) / 2];
}

function pluck(wave, size, midi, frequency, sound) {
  let seed = midi;
  const step = 2 * Math.PI * frequency / sound.RATE;
  for (let partial = 1; partial <= Math.max(Math.floor(0.45 * sound.RATE / frequency), 1); partial++) {
    seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0; // the same noise every time
    const phase = 2 * Math.PI * seed / 2 ** 32, soft = 1 + (partial * frequency / sound.SOFT_HZ) ** 2;
    const strength = Math.sin(Math.PI * sound.PLUCKED_AT * partial) / partial / soft;
    for (let n = 0; n < size; n++) wave[n] += strength * Math.cos(step * partial * n + phase);
  }
}

function string(midi, sound) {
  const frequency = 440 * 2 ** ((midi - 69) / 12), ring = sound.RING_S * 2 ** ((40 - midi) / 24);
  const [length, near, here, far] = taps(frequency, ring, sound);
  const wave = new Float64Array(Math.ceil(ring * sound.RATE));
  pluck(wave, length + 1, midi, frequency, sound);
  for (let n = length + 1; n < wave.length; n++) {
    wave[n] = near * wave[n - length + 1] + here * wave[n - length] + far * wave[n - length - 1];
  }
  const first = wave.subarray(0, Math.floor(sound.RATE / 4));
  const level = Math.sqrt(first.reduce((sum, x) => sum + x * x, 0) / first.length);
  return Float32Array.from(wave, (x, n) => x / level * swell(n, sound));
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
