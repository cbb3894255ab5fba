"use strict";
// Plays one clip at a time, and hands over from one variant to another at the same place.

const START_VOLUME = 0.5;
const BEATS_BEFORE_LANDING = 16;
const AHEAD_S = 0.2; // a clip that is to take over is sought this far ahead, so that it is ready when that moment comes
const MOST_TRIES = 4; // the time ahead is doubled each time: a slow disk gets 1.6 s at last
const PLAY_AT_ONCE_MS = 4; // a timer comes this late

const clips = JSON.parse(document.getElementById("clips").textContent);
const panels = clips.map((_, number) => document.getElementById(`clip-${number}`));
const audios = panels.map((panel) => panel.querySelector("audio"));
const articles = [...document.querySelectorAll(".combination")];
const membersOf = articles.map(() => []);
clips.forEach((clip, number) => membersOf[clip.combination].push(number));

let volume = START_VOLUME;
let silenced = false;
let playing = null; // the number of the clip that was last started
let takingOver = null; // the clip that is made ready, unheard
let turns = 0; // counts handings over: a later one ends an earlier

function tell(text) {
  document.getElementById("status").textContent = text;
}

/** The clip's place, in its own seconds, that lies as many beats from the landing as a place in another clip. */
function placeIn(to, from, time_s) {
  const beats = ((time_s - clips[from].landing_s) * clips[from].tempo_bpm) / 60;
  return clips[to].landing_s + (beats * 60) / clips[to].tempo_bpm;
}

function within(number, time_s) {
  return Math.min(Math.max(time_s, 0), Math.max(clips[number].duration_s - 0.05, 0));
}

function shownOf(combination) {
  return membersOf[combination].find((number) => !panels[number].hidden);
}

function show(number) {
  const members = membersOf[clips[number].combination];
  for (const other of members) panels[other].hidden = other !== number;
  const choice = articles[clips[number].combination].querySelector(`.variants input[value="${number}"]`);
  if (choice) choice.checked = true;
}

function start(number) {
  audios[number].play().catch((error) => {
    if (error.name !== "AbortError") tell(`${clips[number].called} cannot be played: ${error.message}`);
  });
}

function stopOthers(number) {
  for (const other of audios) if (other !== audios[number] && !other.paused) other.pause();
}

function happens(target, name) {
  return new Promise((resolve, reject) => {
    target.addEventListener(name, resolve, { once: true });
    target.addEventListener("error", () => reject(new Error("the file cannot be read")), { once: true });
  });
}

async function seek(audio, time_s) {
  const done = happens(audio, "seeked");
  audio.currentTime = time_s;
  await done;
  if (audio.readyState < HTMLMediaElement.HAVE_FUTURE_DATA) await happens(audio, "canplay");
}

const later = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

/** Go on in another variant at the same place, playing if this one plays. */
async function handOver(from, to) {
  const turn = ++turns;
  const [source, target] = [audios[from], audios[to]];
  show(to);
  if (source.paused) {
    if (source.currentTime > 0) target.currentTime = within(to, placeIn(to, from, source.currentTime));
    return;
  }
  takingOver = to;
  target.muted = true;
  try {
    await target.play(); // while the listener's key or tap still counts as leave to play
    target.pause();
    for (let ahead_s = AHEAD_S, tries = 1; turn === turns; ahead_s *= 2, tries += 1) {
      const aim_s = within(to, placeIn(to, from, source.currentTime + ahead_s));
      await seek(target, aim_s);
      const left_s = placeIn(from, to, aim_s) - source.currentTime;
      if (left_s >= 0 && left_s <= 2 * ahead_s) await later(Math.max(left_s * 1000 - PLAY_AT_ONCE_MS, 0));
      if (left_s >= 0 || tries === MOST_TRIES) break;
    }
  } catch (error) {
    if (turn === turns) tell(`${clips[to].called} cannot be played: ${error.message}`);
    target.muted = silenced;
    return;
  }
  if (turn !== turns) {
    if (to !== takingOver) target.muted = silenced;
    return;
  }
  takingOver = null;
  target.muted = silenced;
  if (source.paused) return; // stopped in the meantime
  target.volume = volume;
  start(to);
  source.pause();
}

/** Show a variant, and hear it at once if another one of its combination is being heard. */
function choose(number) {
  const members = membersOf[clips[number].combination];
  const from = members.find((other) => other !== number && !audios[other].paused && other !== takingOver);
  handOver(from ?? shownOf(clips[number].combination), number);
}

function playNearLanding(number) {
  const before_s = (BEATS_BEFORE_LANDING * 60) / clips[number].tempo_bpm;
  audios[number].currentTime = within(number, clips[number].landing_s - before_s);
  start(number);
}

for (const audio of audios) audio.volume = volume;
membersOf.forEach((members) => show(members[0]));

// Events of audio do not bubble, but can be caught on their way down.
document.addEventListener("play", (event) => {
  const number = audios.indexOf(event.target);
  if (number === takingOver) return;
  playing = number;
  event.target.volume = volume;
  stopOthers(number);
}, true);
document.addEventListener("volumechange", (event) => {
  const number = audios.indexOf(event.target);
  if (number === takingOver || event.target.muted !== silenced && number !== playing) return;
  volume = event.target.volume;
  silenced = event.target.muted;
}, true);
document.addEventListener("change", (event) => {
  if (event.target.matches(".variants input")) choose(Number(event.target.value));
});
document.addEventListener("click", (event) => {
  if (event.target.matches(".near")) playNearLanding(panels.indexOf(event.target.closest(".clip")));
});
