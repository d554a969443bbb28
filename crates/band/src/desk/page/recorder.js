// Runs on the thread of the sound: hands on what the microphone hears, with the time of its first sample.
class Recorder extends AudioWorkletProcessor {
  process([input]) {
    if (input.length) this.port.postMessage({ at: currentTime, samples: input[0].slice() });
    return true;
  }
}
registerProcessor("recorder", Recorder);
