// Plays one question at a time: all its notes are scheduled at once, on the clock of the sound.

const QUARTER = 960, RIDE = 51, HAT = 44, HIGH_CLICK = 76, LOW_CLICK = 77, BELL = 81;
const music = JSON.parse(document.getElementById("music").textContent);
const band = new Band(), status = document.getElementById("status");
let playing = null;

// Two partials of a small bell.
function bell(at) {
  for (const [pitch, gain] of [[2093, 0.5], [3322, 0.28]]) {
    const source = new OscillatorNode(band.context, { frequency: pitch });
    const level = new GainNode(band.context, { gain: 0 });
    level.gain.setValueAtTime(gain, at);
    level.gain.setTargetAtTime(0, at + 0.01, 0.35);
    source.connect(level).connect(band.parts.time.level);
    band.start(source, at);
    source.stop(at + 2);
  }
}

// A part is a flat list: start and length in ticks, key, and so on.
function each(part, sound) {
  for (let i = 0; i < part.length; i += 3) sound(part[i], part[i + 1], part[i + 2]);
}

function strike(at, key) {
  if (key === RIDE) band.ride(at, 0.7);
  else if (key === HAT) band.hat(at);
  else if (key === BELL) bell(at);
  else band.click(at, key === HIGH_CLICK);
}

function start(button) {
  const question = music[button.dataset.play];
  const second = 60 / question.tempo / QUARTER;
  band.open();
  const zero = band.now + 0.12;
  each(question.bass, (start, length, key) => band.bass(zero + start * second, key, length * second, false));
  const chords = new Map();
  each(question.comp, (start, length, key) => {
    const chord = chords.get(start) || chords.set(start, { length, keys: [] }).get(start);
    chord.keys.push(key);
  });
  for (const [start, { length, keys }] of chords) band.chord(zero + start * second, keys, length * second);
  each(question.time, (start, _, key) => strike(zero + start * second, key));
  button.textContent = "Stop";
  button.setAttribute("aria-pressed", "true");
  status.textContent = `Playing question ${button.dataset.number}`;
  playing = { button, timer: setTimeout(stop, (question.end * second + 0.6) * 1000) };
}

function stop() {
  if (!playing) return;
  clearTimeout(playing.timer);
  band.silence();
  playing.button.textContent = playing.button.dataset.words;
  playing.button.setAttribute("aria-pressed", "false");
  status.textContent = "";
  playing = null;
}

// The answers' page tells whether a choice is right; the questions' page does not know.
function judge(item, given) {
  if (given === item.dataset.answer) show(item, "result right", "Right: ");
  else show(item, "result wrong", "No: it is ");
}

function show(item, style, before) {
  const result = item.querySelector(".result");
  result.className = style;
  result.textContent = `${before}${item.dataset.words} (${item.dataset.why})`;
}

// One more note of a dictation.
function reveal(item) {
  const notes = item.dataset.answer.split(" "), result = item.querySelector(".result");
  const shown = Math.min(notes.length, Number(item.dataset.shown || 0) + 1);
  item.dataset.shown = shown;
  result.className = "result";
  result.textContent = notes.slice(0, shown).join(" ") + (shown < notes.length ? " …" : " (" + item.dataset.why + ")");
}

document.addEventListener("click", event => {
  const button = event.target.closest("button");
  if (!button) return;
  const item = button.closest(".item");
  if (button.dataset.play !== undefined) {
    const again = playing && playing.button === button;
    stop();
    if (!again) start(button);
  } else if (button.dataset.do === "reveal") reveal(item);
  else if (button.dataset.do === "show") show(item, "result", "It is ");
});

document.addEventListener("change", event => {
  const item = event.target.closest(".item");
  if (event.target.type === "radio" && item.dataset.answer !== undefined) judge(item, event.target.value);
});

document.addEventListener("visibilitychange", () => { if (document.hidden) stop(); });
