"use strict";
// Plays one clip at a time, and hands over from one variant to another at the same place.

const START_VOLUME = 0.5;
const BEATS_BEFORE_LANDING = 16;
const AHEAD_S = 0.2; // a clip that is to take over is sought this far ahead, so that it is ready when that moment comes
const MOST_TRIES = 5; // the time ahead is doubled each time: a slow disk gets 3.2 s at last
const READY_MS = 2000; // a file that is not ready by then is tried once more
const UNHEARD = 0.0001; // −80 dB; Chromium stops the sound of what is muted, and starts it about 30 ms late
const SETTLE_MS = 100; // after this long, the place of what has begun to play can be told
const NEAR_S = 0.015; // browsers tell places of an MP3 up to 30 ms wrong: both together stay below 50 ms

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
let lateness_s = 0.05; // by which audio begins later than it is told to: learned with each handing over
let turns = 0; // counts handings over: a later one ends an earlier

const TOLD_MS = 8000;
let toldLast = 0;

function tell(text) {
  const line = document.getElementById("status");
  line.textContent = text;
  clearTimeout(toldLast);
  toldLast = setTimeout(() => { line.textContent = ""; }, TOLD_MS);
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

/** Wait until an audio tells something, but not for ever. */
function happens(audio, name) {
  const heard = new AbortController();
  return new Promise((resolve, reject) => {
    audio.addEventListener(name, resolve, heard);
    audio.addEventListener("error", () => reject(new Error("the file cannot be read")), heard);
    setTimeout(resolve, READY_MS);
  }).finally(() => heard.abort());
}

async function seek(audio, time_s) {
  const done = happens(audio, "seeked");
  audio.currentTime = time_s;
  await done;
  if (audio.readyState < HTMLMediaElement.HAVE_FUTURE_DATA) await happens(audio, "canplay");
}

const later = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

function hush(audio) {
  audio.volume = UNHEARD;
  audio.muted = audio.volume > UNHEARD; // some telephones let no page set a volume
}

function unhush(audio) {
  audio.volume = volume;
  audio.muted = silenced;
}

/** End the handing over that is under way, if one is. */
function giveUp() {
  turns += 1;
  if (takingOver === null) return;
  audios[takingOver].pause();
  unhush(audios[takingOver]);
  takingOver = null;
}

/** Play, unheard, where another clip is, as near as can be had. It ends early where a later turn has begun. */
async function catchUp(to, from, turn) {
  const [source, target] = [audios[from], audios[to]];
  for (let ahead_s = AHEAD_S, tries = 0; tries < MOST_TRIES && turn === turns; ahead_s *= 2, tries += 1) {
    const place_s = placeIn(to, from, source.currentTime + ahead_s);
    const aim_s = within(to, place_s);
    const isThere = aim_s === place_s; // else this clip begins later, or has ended
    target.pause();
    await seek(target, aim_s);
    const left_s = isThere ? placeIn(from, to, aim_s) - source.currentTime - lateness_s : 0;
    if (left_s < 0) continue;
    await later(left_s * 1000);
    if (turn !== turns) return;
    await target.play();
    if (!isThere) return;
    await later(SETTLE_MS);
    const off_s = placeIn(to, from, source.currentTime) - target.currentTime;
    if (turn !== turns) return;
    lateness_s = Math.min(Math.max(lateness_s + off_s, 0), AHEAD_S);
    if (Math.abs(off_s) <= NEAR_S) return;
  }
  if (turn === turns && target.paused) await target.play(); // late, but better than silence
}

/** Go on in another variant at the same place, playing if this one plays. */
async function handOver(from, to) {
  giveUp();
  const turn = turns;
  const [source, target] = [audios[from], audios[to]];
  show(to);
  if (source.paused) {
    if (source.currentTime > 0) target.currentTime = within(to, placeIn(to, from, source.currentTime));
    return;
  }
  takingOver = to;
  hush(target);
  try {
    await target.play(); // while the listener's key or tap still counts as leave to play
    if (turn === turns) await catchUp(to, from, turn);
  } catch (error) {
    if (turn === turns) {
      giveUp();
      tell(`${clips[to].called} cannot be played: ${error.message}`);
    }
  }
  if (turn !== turns) return;
  takingOver = null;
  unhush(target);
  if (source.paused) target.pause(); // stopped in the meantime
  else source.pause();
  playing = to;
}

/** Show a variant, and hear it at once if another one of its combination is being heard. */
function choose(number) {
  const members = membersOf[clips[number].combination];
  const heard = members.find((other) => !audios[other].paused && other !== takingOver);
  if (heard === number) { // back to it before another took over
    giveUp();
    show(number);
  } else {
    handOver(heard ?? shownOf(clips[number].combination), number);
  }
}

function playNearLanding(number) {
  const before_s = (BEATS_BEFORE_LANDING * 60) / clips[number].tempo_bpm;
  audios[number].currentTime = within(number, clips[number].landing_s - before_s);
  start(number);
}

for (const audio of audios) audio.volume = volume;
for (const members of membersOf) show(members[0]);

// Events of audio do not bubble, but can be caught on their way down.
document.addEventListener("play", (event) => {
  const number = audios.indexOf(event.target);
  if (number === takingOver || event.target.paused) return; // told late: it was given up since
  giveUp();
  playing = number;
  unhush(event.target);
  stopOthers(number);
}, true);
document.addEventListener("volumechange", (event) => {
  const number = audios.indexOf(event.target);
  if (number === takingOver) return;
  volume = event.target.volume;
  silenced = event.target.muted;
}, true);
document.addEventListener("change", (event) => {
  if (event.target.matches(".variants input")) choose(Number(event.target.value));
});
document.addEventListener("click", (event) => {
  if (event.target.matches(".near")) playNearLanding(panels.indexOf(event.target.closest(".clip")));
});
