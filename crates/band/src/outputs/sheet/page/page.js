// The page: shows what the player plays and hands it what is touched.

const byId = id => document.getElementById(id);
const music = byId("music");
const settings = JSON.parse(byId("settings").textContent);
const band = new Band();
const player = new Player(settings, band);
const unpacked = new Map();
const reasons = byId("reasons"), about = byId("about").textContent;
let muted = new Set(settings.muted);
let key = null, showing = 0;

const signs = name => name.replaceAll("b", "♭").replaceAll("#", "♯");

async function unpack(name) {
  if (!unpacked.has(name)) {
    const text = document.querySelector(`script[data-key="${CSS.escape(name)}"]`).textContent;
    const bytes = Uint8Array.from(atob(text), character => character.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    const [json, ...markup] = (await new Response(stream).text()).split("\x1e");
    const key = JSON.parse(json);
    markup.forEach((html, index) => { key.choruses[index].html = html; });
    unpacked.set(name, key);
  }
  return unpacked.get(name);
}

async function showKey(name) {
  key = await unpack(name);
  player.choruses = key.choruses;
  music.style.setProperty("--head", key.head);
  music.style.setProperty("--bar", key.bar);
  music.classList.toggle("wide", key.wide);
  showChorus(showing);
  byId("key").value = name;
  byId("about").textContent = about.replace(`In ${signs(settings.home)}`, `In ${signs(name)}`);
  document.body.dataset.ready = name;
}

// Puts a chorus (from 0) on the page. Its markup was engraved and escaped when the page was made.
function showChorus(index) {
  showing = index;
  reasons.hidden = true;
  music.after(reasons);
  music.innerHTML = key.choruses[index].html;
  byId("tab").disabled = key.strings === 0;
  if (key.strings) drawTablature();
  const { number } = key.choruses[index];
  byId("heading").textContent = number ? `Chorus ${number}` : "Intro";
  byId("chorus").value = index;
  // A loop may hold the ending, which other choruses lack.
  if (player.loop && player.loop[1] >= key.choruses[index].bars.length) player.loop = null;
  markLoop();
}

// Tablature under each line: strings and frets at the places of the notes.
function drawTablature() {
  const gap = 1.4, half = (key.strings - 1) / 2 * gap, chorus = key.choruses[showing];
  const svg = (width, inside) => `<svg class="tab" aria-hidden="true" viewBox="0 ${-half - 1.2} ${width} ${2 * half + 2.4}">${inside}</svg>`;
  const lines = width => Array.from({ length: key.strings }, (_, string) =>
    `<path class="st" d="M0 ${string * gap - half - 0.055}h${width}v.11H0z"/>`).join("");
  const text = (x, y, text, note) => `<text class="n" data-n="${note}" x="${x}" y="${y + 0.56}">${text}</text>`;
  for (const head of music.querySelectorAll(".head"))
    head.insertAdjacentHTML("beforeend", svg(key.head, lines(key.head) + ["T", "A", "B"].map((letter, row) => text(1.4, (row - 1) * 1.4, letter, "")).join("")));
  for (const element of music.querySelectorAll(".bar")) {
    const { start, length, places } = chorus.bars[element.dataset.bar];
    const frets = chorus.notes.map(({ start: at, tab: [string, fret], ghost }, index) => {
      const place = at >= start && at < start + length && places.find(([moment]) => moment === at - start);
      return place ? text(place[1] * key.bar, (string - 1) * gap - half, ghost ? "x" : fret, index) : "";
    });
    element.insertAdjacentHTML("beforeend", svg(key.bar, lines(key.bar) + `<path d="M${key.bar - 0.16} ${-half}h.16v${2 * half}h-.16z"/>` + frets.join("")));
  }
}

const barAt = index => music.querySelector(`.bar[data-bar="${index}"]`);
const say = text => { byId("status").textContent = text; };

// --- Looping bars.
function touchBar(index) {
  const loop = player.loop;
  if (!loop) player.loop = [index, index];
  else if (loop[0] === index && loop[1] === index) player.loop = null;
  else if (index < loop[0]) player.loop = [index, loop[1]];
  else if (index > loop[1]) player.loop = [loop[0], index];
  else player.loop = [index, index];
  if (player.loop && player.running && (player.bar < player.loop[0] || player.bar > player.loop[1])) {
    player.bar = player.loop[0];
    player.beat = 0;
  }
  markLoop();
  showReasons(index);
  const [from, to] = player.loop || [];
  say(!player.loop ? "No loop." : from === to ? `Bar ${from + 1} loops.` : `Bars ${from + 1} to ${to + 1} loop.`);
}

function markLoop() {
  const loop = player.loop;
  for (const bar of music.querySelectorAll(".bar")) {
    const index = Number(bar.dataset.bar);
    bar.setAttribute("aria-pressed", Boolean(loop && index >= loop[0] && index <= loop[1]));
  }
  byId("unloop").hidden = !loop;
  remember();
}

// Below the line of the bar, where the eye is.
function showReasons(index) {
  const notes = key.choruses[showing].notes.filter(note => note.bar === index + 1);
  reasons.querySelector("ul").replaceChildren(...notes.map(note => {
    const item = document.createElement("li"), name = document.createElement("b");
    name.textContent = note.name.replace("b", "♭").replace("#", "♯");
    item.append(name, ` ${note.why}`);
    return item;
  }));
  reasons.hidden = notes.length === 0;
  const line = barAt(index).closest(".line"), isNarrow = getComputedStyle(line).display === "block";
  (isNarrow ? barAt(index).closest(".half") : line).after(reasons);
  reasons.scrollIntoView({ block: "nearest", behavior: still.matches ? "auto" : "smooth" });
}

// --- Parts.
function setMuted(parts) {
  muted = parts;
  remember();
  band.mute(muted);
  for (const button of document.querySelectorAll("[data-part]")) {
    const sounds = !muted.has(button.dataset.part);
    button.setAttribute("aria-pressed", sounds);
    button.textContent = sounds ? "on" : "off";
  }
}

function setTempo(tempo) {
  player.tempo = Number(tempo);
  byId("tempo").value = tempo;
  byId("tempo-shown").textContent = tempo;
  remember();
}

// --- The address says how the page stands, so that it comes back by a reload, a bookmark or a link.
const ADDRESS = { key: "key", chorus: "chorus", after: "after", keeping: "time", tempo: "tempo" };
let remembering = null;

function remember() {
  clearTimeout(remembering);
  remembering = setTimeout(() => {
    const said = new URLSearchParams(Object.entries(ADDRESS).map(([field, name]) => [name, byId(field).value]));
    if (player.loop) said.set("loop", player.loop.join("-"));
    if (muted.size) said.set("off", [...muted].join("-"));
    if (byId("tab").checked) said.set("tab", "");
    if (!byId("marks").checked) said.set("marks", "off");
    if (!byId("count").checked) said.set("count", "off");
    // A page that is shown apart may not change its address.
    try { history.replaceState(null, "", `#${said}`); } catch { /* Then it begins anew next time. */ }
  }, 300);
}

async function recall() {
  const said = new URLSearchParams(location.hash.slice(1));
  for (const [field, name] of Object.entries(ADDRESS)) {
    const element = byId(field), value = said.get(name);
    if (value === null || element.options && ![...element.options].some(option => option.value === value)) continue;
    element.value = value;
    if (field !== "key" && field !== "chorus") element.dispatchEvent(new Event(element.options ? "change" : "input"));
  }
  showing = Number(byId("chorus").value);
  for (const [name, value] of [["marks", false], ["count", false], ["tab", true]]) {
    if (!said.has(name)) continue;
    byId(name).checked = value;
    byId(name).dispatchEvent(new Event("change"));
  }
  if (said.has("off")) setMuted(new Set(said.get("off").split("-").filter(part => document.querySelector(`[data-part="${CSS.escape(part)}"]`))));
  await showKey(byId("key").value);
  const [from, to] = (said.get("loop") || "").split("-").map(Number);
  if (from <= to && to < key.choruses[showing].bars.length) player.loop = [from, to];
  player.turnTo(showing);
  markLoop();
}

// --- Playing, and following it with the eye.
const still = matchMedia("(prefers-reduced-motion: reduce)");
const cursor = document.createElement("span");
cursor.className = "cursor";
let beatShown = null;

function setPlaying(playing) {
  if (playing) player.start();
  else player.stop();
  byId("play").textContent = playing ? "Stop" : "Play";
  byId("play").setAttribute("aria-pressed", playing);
  say(playing ? "Playing." : "Stopped.");
  stayAwake(playing);
  if (playing) requestAnimationFrame(follow);
  else clearMarks();
}

// A phone on the music stand keeps its light while it plays, where the browser can see to that.
let awake = null;

async function stayAwake(playing) {
  if (!playing) return awake?.release();
  try { awake = await navigator.wakeLock.request("screen"); } catch { /* It goes dark as it always does. */ }
}

document.addEventListener("visibilitychange", () => { if (!document.hidden && player.running) stayAwake(true); });

function clearMarks() {
  beatShown = null;
  cursor.remove();
  for (const marked of music.querySelectorAll(".now")) marked.classList.remove("now");
}

function follow() {
  const now = band.heard;
  while (player.shown.length && player.shown[0].at <= now) {
    const event = player.shown.shift();
    if (event.end) return setPlaying(false);
    if (event.note !== undefined) markNote(event.note);
    else markBeat(event);
  }
  if (beatShown && !still.matches) moveCursor(now);
  if (player.running || player.shown.length) requestAnimationFrame(follow);
}

function markNote(index) {
  for (const note of music.querySelectorAll(".n.now")) note.classList.remove("now");
  for (const note of music.querySelectorAll(`.n[data-n="${index}"]`)) note.classList.add("now");
}

function markBeat(event) {
  if (event.chorus !== showing) showChorus(event.chorus);
  const bar = barAt(event.bar);
  if (!bar) return;
  if (!bar.classList.contains("now")) {
    for (const other of music.querySelectorAll(".bar.now")) other.classList.remove("now");
    bar.classList.add("now");
    const { top, bottom } = bar.getBoundingClientRect(), floor = byId("controls").getBoundingClientRect().top;
    if (top < 0 || bottom > floor) scrollBy({ top: top - innerHeight / 4, behavior: still.matches ? "auto" : "smooth" });
  }
  beatShown = event;
  bar.append(cursor);
  moveCursor(event.at);
}

// Between two moments of the bar the cursor goes evenly.
function moveCursor(now) {
  const { at, seconds, from, chorus, bar } = beatShown;
  const { places, beat } = key.choruses[chorus].bars[bar];
  const tick = from + Math.min(1, Math.max(0, (now - at) / seconds)) * beat;
  let [before, x] = places[0];
  for (const [moment, place] of places) {
    if (moment > tick) {
      x += (place - x) * (tick - before) / (moment - before);
      break;
    }
    [before, x] = [moment, place];
  }
  cursor.style.left = `${Math.max(0, x) * 100}%`;
}

// --- What is touched.
byId("play").addEventListener("click", () => setPlaying(byId("play").textContent === "Play"));
byId("tempo").addEventListener("input", event => setTempo(event.target.value));
byId("unloop").addEventListener("click", () => { player.loop = null; markLoop(); say("No loop."); byId("play").focus(); });
byId("controls").addEventListener("change", remember);
byId("key").addEventListener("change", event => showKey(event.target.value));
byId("chorus").addEventListener("change", event => {
  showChorus(Number(event.target.value));
  player.turnTo(showing);
});
byId("after").addEventListener("change", event => { player.goesOn = event.target.value === "on"; });
byId("keeping").addEventListener("change", event => { player.keeping = event.target.value; });
byId("count").addEventListener("change", event => { player.counts = event.target.checked; });
byId("marks").addEventListener("change", event => {
  document.body.classList.toggle("unmarked", !event.target.checked);
  byId("legend").hidden = !event.target.checked;
});
byId("tab").addEventListener("change", event => document.body.classList.toggle("tabbed", event.target.checked));
for (const button of document.querySelectorAll("[data-part]"))
  button.addEventListener("click", () => {
    const parts = new Set(muted), part = button.dataset.part;
    if (!parts.delete(part)) parts.add(part);
    setMuted(parts);
  });
for (const button of document.querySelectorAll("[data-only]"))
  button.addEventListener("click", () =>
    setMuted(new Set(["bass", "comp", "time"].filter(part => part !== button.dataset.only))));
music.addEventListener("click", event => {
  const bar = event.target.closest(".bar");
  if (bar) touchBar(Number(bar.dataset.bar));
});
document.addEventListener("keydown", event => {
  if (event.code !== "Space" || event.target.closest("button, input, select, summary")) return;
  event.preventDefault();
  setPlaying(byId("play").textContent === "Play");
});
byId("controls").addEventListener("submit", event => event.preventDefault());

setTempo(settings.tempo);
setMuted(muted);
recall();
