"use strict";
// The sounds of the page, all made here: a plucked string, a soft chord, ride, hi-hat and click.

class Band {
  // Opens the sound of the machine, which a browser allows only after a touch.
  open() {
    if (!this.context) {
      this.context = new AudioContext({ latencyHint: "playback" });
      this.master = new GainNode(this.context, { gain: 0.9 });
      const limiter = new DynamicsCompressorNode(this.context, { threshold: -10, ratio: 8, attack: 0.004, release: 0.16 });
      this.master.connect(limiter).connect(this.context.destination);
      this.parts = {};
      for (const [part, gain] of [["bass", 1], ["comp", 0.5], ["time", 0.42]]) {
        const level = new GainNode(this.context, { gain });
        this.parts[part] = { level, gain };
        level.connect(this.master);
      }
      this.plucked = new Map();
      this.ringing = new Set();
      this.rideSound = this.rendered(0.9, ride);
      this.hatSound = this.rendered(0.09, hat);
      if (this.muted) this.mute(this.muted);
    }
    this.context.resume();
    this.master.gain.cancelScheduledValues(0);
    this.master.gain.setTargetAtTime(0.9, this.context.currentTime, 0.005);
  }

  get now() { return this.context ? this.context.currentTime : 0; }
  // What is heard now was scheduled for this time.
  get heard() { return this.now - (this.context && this.context.outputLatency || 0); }

  // Silences these parts and no others.
  mute(muted) {
    this.muted = muted;
    for (const [part, { level, gain }] of Object.entries(this.parts || {}))
      level.gain.setTargetAtTime(muted.has(part) ? 0 : gain, this.now, 0.015);
  }

  // Stops all that sounds or is yet to sound.
  silence() {
    if (!this.context) return;
    this.master.gain.setTargetAtTime(0, this.now, 0.015);
    for (const source of this.ringing) source.stop(this.now + 0.12);
    this.ringing.clear();
  }

  rendered(seconds, draw) {
    const rate = this.context.sampleRate;
    const buffer = this.context.createBuffer(1, Math.ceil(seconds * rate), rate);
    draw(buffer.getChannelData(0), rate);
    return buffer;
  }

  play(part, buffer, at, gain, end) {
    const source = new AudioBufferSourceNode(this.context, { buffer });
    const level = new GainNode(this.context, { gain });
    source.connect(level).connect(this.parts[part].level);
    this.start(source, at);
    if (end) {
      level.gain.setTargetAtTime(0, end, 0.03);
      source.stop(end + 0.25);
    }
  }

  start(source, at) {
    this.ringing.add(source);
    source.onended = () => this.ringing.delete(source);
    source.start(at);
  }

  bass(at, midi, seconds, ghost) {
    if (!this.plucked.has(midi))
      this.plucked.set(midi, this.rendered(2.6, (out, rate) => pluck(out, rate, frequency(midi))));
    const end = at + (ghost ? 0.06 : Math.max(0.08, seconds * 0.94));
    this.play("bass", this.plucked.get(midi), at, ghost ? 0.35 : 1, end);
  }

  chord(at, keys, seconds) {
    for (const midi of keys) {
      const pitch = frequency(midi), end = at + Math.max(0.12, seconds);
      const carrier = new OscillatorNode(this.context, { frequency: pitch });
      const bell = new OscillatorNode(this.context, { frequency: pitch });
      const depth = new GainNode(this.context, { gain: pitch * 1.1 });
      const level = new GainNode(this.context, { gain: 0 });
      depth.gain.setTargetAtTime(pitch * 0.25, at, 0.25);
      level.gain.setTargetAtTime(0.32 / Math.sqrt(keys.length), at, 0.006);
      level.gain.setTargetAtTime(0.05, at + 0.05, 0.9);
      level.gain.setTargetAtTime(0, end, 0.07);
      bell.connect(depth).connect(carrier.frequency);
      carrier.connect(level).connect(this.parts.comp.level);
      for (const source of [carrier, bell]) {
        this.start(source, at);
        source.stop(end + 0.6);
      }
    }
  }

  ride(at, gain) { this.play("time", this.rideSound, at, gain); }
  hat(at) { this.play("time", this.hatSound, at, 0.7); }

  click(at, high) {
    const source = new OscillatorNode(this.context, { frequency: high ? 1760 : 1320 });
    const level = new GainNode(this.context, { gain: high ? 0.7 : 0.5 });
    level.gain.setTargetAtTime(0, at, 0.018);
    source.connect(level).connect(this.parts.time.level);
    this.start(source, at);
    source.stop(at + 0.15);
  }
}

// A4 is MIDI key 69 at 440 Hz.
const frequency = midi => 440 * 2 ** ((midi - 69) / 12);

// Noise that is the same on every machine: a linear congruential generator (Numerical Recipes' constants).
function noise() {
  let state = 1;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2147483648 - 1;
  };
}

// A plucked string after Karplus and Strong ("Digital Synthesis of Plucked-String and Drum Timbres",
// Computer Music Journal 7(2), 1983): a burst of noise going round a delay line with a low-pass in it.
function pluck(out, rate, pitch) {
  const smooth = 0.72, wanted = rate / pitch - (1 - smooth) / smooth;
  const delay = Math.floor(wanted), part = wanted - delay;
  const random = noise();
  let soft = 0, softer = 0, damped = 0, peak = 0;
  for (let n = 0; n < out.length; n++) {
    if (n <= delay) {
      soft += 0.22 * (random() - soft);
      softer += 0.4 * (soft - softer);
      out[n] = softer;
      continue;
    }
    const back = (1 - part) * out[n - delay] + part * out[n - delay - 1];
    damped += smooth * (back - damped);
    out[n] = damped * 0.9975;
  }
  for (let n = 0; n < out.length; n++) {
    const t = n / rate;
    // The wood under the string.
    out[n] = out[n] * 2.2 + 0.5 * Math.sin(2 * Math.PI * pitch * t) * Math.exp(-2.4 * t) * Math.min(1, t * 160);
    peak = Math.max(peak, Math.abs(out[n]));
  }
  for (let n = 0; n < out.length; n++) out[n] *= 0.8 / peak;
}

function ride(out, rate) {
  const random = noise(), tones = [2917, 3731, 4519, 5443, 6301, 7877];
  let before = 0;
  for (let n = 0; n < out.length; n++) {
    const t = n / rate, hiss = random();
    const wash = (hiss - before) * 0.22 * Math.exp(-5 * t);
    before = hiss;
    let ping = 0;
    for (const tone of tones) ping += Math.sin(2 * Math.PI * tone * t);
    out[n] = wash + 0.09 * ping * Math.exp(-9 * t) * Math.min(1, t * 900);
  }
}

function hat(out, rate) {
  const random = noise();
  let before = 0;
  for (let n = 0; n < out.length; n++) {
    const hiss = random();
    out[n] = (hiss - before) * 0.5 * Math.exp(-60 * n / rate);
    before = hiss;
  }
}
