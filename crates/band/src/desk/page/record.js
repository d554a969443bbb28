// Recording here: what the microphone hears while the band plays, with the beats that sounded. How long sound takes
// from the loudspeaker through the air back into the machine is measured once, by clapping with clicks.

import { byId } from "./server.js";

const DELAY = "endpin delay";
const PERIOD = 0.6, CLICKS = 12, LISTENED = 4;
// Nothing that a phone call wants: it would bend the notes of a bass.
const PLAIN = { audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false } };
const median = numbers => numbers.toSorted((a, b) => a - b)[numbers.length >> 1];

// An open microphone; its samples so far.
class Microphone {
  static async open(band) {
    band.open();
    const { context } = band, stream = await navigator.mediaDevices.getUserMedia(PLAIN);
    if (!band.recorder) {
      await context.audioWorklet.addModule("/recorder.js");
      band.recorder = true;
    }
    return new Microphone(context, stream);
  }

  constructor(context, stream) {
    this.rate = context.sampleRate;
    this.stream = stream;
    this.parts = [];
    this.source = context.createMediaStreamSource(stream);
    this.node = new AudioWorkletNode(context, "recorder", { numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit" });
    this.node.port.onmessage = ({ data }) => {
      this.begun ??= data.at;
      this.parts.push(data.samples);
    };
    this.source.connect(this.node);
  }

  close() {
    this.source.disconnect();
    this.node.port.onmessage = null;
    for (const track of this.stream.getTracks()) track.stop();
    const samples = new Float32Array(this.parts.reduce((length, part) => length + part.length, 0));
    let at = 0;
    for (const part of this.parts) {
      samples.set(part, at);
      at += part.length;
    }
    return { samples, rate: this.rate, begun: this.begun ?? 0 };
  }
}

// A WAV file: 16 bits, one channel.
function wav({ samples, rate }) {
  const bytes = new DataView(new ArrayBuffer(44 + 2 * samples.length));
  const text = (at, letters) => [...letters].forEach((letter, index) => bytes.setUint8(at + index, letter.charCodeAt(0)));
  text(0, "RIFF");
  bytes.setUint32(4, 36 + 2 * samples.length, true);
  text(8, "WAVEfmt ");
  [[16, 16, 4], [20, 1, 2], [22, 1, 2], [24, rate, 4], [28, 2 * rate, 4], [32, 2, 2], [34, 16, 2]].forEach(([at, number, size]) =>
    size === 4 ? bytes.setUint32(at, number, true) : bytes.setUint16(at, number, true));
  text(36, "data");
  bytes.setUint32(40, 2 * samples.length, true);
  samples.forEach((sample, index) => bytes.setInt16(44 + 2 * index, Math.max(-1, Math.min(1, sample)) * 32767, true));
  return new Blob([bytes], { type: "audio/wav" });
}

// Where the loudest stroke near a moment begins, in seconds; none if nothing stands out.
function stroke({ samples, rate, begun }, moment) {
  const from = Math.max(0, Math.round((moment - begun - 0.1) * rate)), near = samples.subarray(from, from + Math.round(0.5 * rate));
  const peak = near.reduce((most, sample) => Math.max(most, Math.abs(sample)), 0);
  const usual = near.reduce((sum, sample) => sum + Math.abs(sample), 0) / near.length;
  if (!(peak > 8 * usual)) return null;
  return begun + (from + near.findIndex(sample => Math.abs(sample) > 0.3 * peak)) / rate;
}

export class Record {
  // `taken` gets a file and the beats in it, in milliseconds.
  constructor(hear, taken) {
    this.hear = hear;
    this.taken = taken;
    byId("record").addEventListener("click", () => this.microphone ? this.end() : this.begin());
    byId("clap").addEventListener("click", () => this.clap());
    this.showDelay();
    document.addEventListener("scheduled", ({ detail: { part, at } }) => {
      if (part === "count") this.beats = [];
      if (part === "count" || part === "time") this.beats?.push(at);
    });
  }

  get delay() {
    const kept = Number(localStorage.getItem(DELAY));
    return kept > 0 && kept < 1 ? kept : null;
  }

  showDelay() {
    byId("delay").textContent = this.delay === null ? "The delay of this machine is not measured yet, so that a verdict may tell too much lateness."
      : `The delay of this machine is ${Math.round(this.delay * 1000)} milliseconds, and is taken off.`;
  }

  async open() {
    try {
      this.microphone = await Microphone.open(this.hear.band);
      return true;
    } catch (problem) {
      byId("judged").textContent = problem.name === "NotFoundError" ? "This machine has no microphone." : "The browser does not let the desk hear: allow it the microphone.";
      return false;
    }
  }

  async begin() {
    if (!this.hear.chorus || !await this.open()) return;
    byId("record").textContent = "Stop, and judge it";
    byId("record").setAttribute("aria-pressed", true);
    byId("judged").textContent = "Recording. Play when the count is over.";
    // The student plays the bass.
    byId("count-in").checked = this.hear.player.counts = true;
    document.querySelector('[data-part="bass"]').checked = false;
    this.beats = [];
    this.hear.set(false);
    this.hear.set(true);
  }

  end() {
    const heard = this.microphone.close(), now = this.hear.band.now;
    this.microphone = null;
    this.hear.set(false);
    byId("record").textContent = "Record here";
    byId("record").setAttribute("aria-pressed", false);
    const beats = this.beats.filter(at => at <= now).map(at => Math.round((at + (this.delay ?? 0) - heard.begun) * 1000));
    this.taken(new File([wav(heard)], "recording.wav"), beats.filter(at => at >= 0));
  }

  async clap() {
    if (this.microphone || !await this.open()) return;
    this.hear.set(false);
    const { band } = this.hear, first = band.now + 0.5;
    for (let index = 0; index < CLICKS; index++) band.click(first + index * PERIOD, index % 4 === 0);
    byId("delay").textContent = "Clap with the clicks, close to the microphone.";
    await new Promise(done => setTimeout(done, (0.5 + CLICKS * PERIOD + 0.5) * 1000));
    const heard = this.microphone.close();
    this.microphone = null;
    const clicks = Array.from({ length: CLICKS }, (_, index) => first + index * PERIOD).slice(LISTENED);
    const late = clicks.map(at => [at, stroke(heard, at)]).filter(([, at]) => at !== null).map(([click, at]) => at - click);
    const middle = late.length ? median(late) : 0, spread = late.length ? median(late.map(each => Math.abs(each - middle))) : 1;
    if (late.length < 5 || spread > 0.04) {
      byId("delay").textContent = `The delay could not be measured: ${late.length} of ${clicks.length} claps were heard${late.length < 5 ? "" : ", too unevenly"}. Try again.`;
      return;
    }
    localStorage.setItem(DELAY, Math.max(0.001, middle));
    this.showDelay();
  }
}
