"use strict";
// Keeps verdicts and notes in the browser, and makes ballots of them.

const KEPT_UNDER = "dropkiln/rating/"; // then the first digits of the sound's hash, and the clip's name
const BALLOT_VERSION = 1;
const MOST_RATINGS = 500;
const MOST_BYTES = 256 * 1024;
const AS_TEXT = `dropkiln-ballot-${BALLOT_VERSION}:`;

/** What the browser keeps; where it keeps nothing, what is kept until the page is closed. */
const keeper = (() => {
  try {
    localStorage.setItem("dropkiln/asked", "1");
    localStorage.removeItem("dropkiln/asked");
    bringBack("dropkiln/");
    return localStorage;
  } catch {
    document.getElementById("keeps-nothing").hidden = false;
    const kept = new Map();
    return {
      getItem: (key) => kept.get(key) ?? null,
      setItem: (key, value) => kept.set(key, value),
      key: (index) => [...kept.keys()][index],
      get length() { return kept.size; },
    };
  }
})();

function keep(key, value) {
  try {
    if (keeper instanceof Storage) keepTwice(key, value);
    else keeper.setItem(key, value);
  } catch (error) { // its room is full
    document.getElementById("keeps-nothing").hidden = false;
    tell(`This was not kept: ${error.message}`);
  }
}

const keyOf = (number) => `${KEPT_UNDER}${clips[number].pcm}/${clips[number].name}`;

function readRating(text) {
  try {
    const { verdict, note } = JSON.parse(text) ?? {};
    return {
      verdict: ["works", "almost", "no"].includes(verdict) ? verdict : "",
      note: typeof note === "string" ? note.slice(0, 1000) : "",
    };
  } catch { // not ours, or damaged
    return { verdict: "", note: "" };
  }
}

const ratings = clips.map(() => ({ verdict: "", note: "" }));

function showRating(number) {
  const { verdict, note } = ratings[number];
  const panel = panels[number];
  for (const button of panel.querySelectorAll(".answers button")) {
    button.setAttribute("aria-pressed", String(button.value === verdict));
  }
  const written = panel.querySelector(".verdict textarea");
  if (written.value !== note) written.value = note;
  const said = articles[clips[number].combination].querySelector(`.variants input[value="${number}"] ~ .said`);
  if (said) said.textContent = verdict && `(${verdict})`;
}

function readAll() {
  const earlier = new Map(); // by name, what was said of other renderings of a clip
  for (let index = 0; index < keeper.length; index += 1) {
    const key = keeper.key(index);
    if (!key.startsWith(KEPT_UNDER)) continue;
    const rest = key.slice(KEPT_UNDER.length);
    const place = rest.indexOf("/");
    const { verdict } = readRating(keeper.getItem(key));
    if (verdict) earlier.set(rest.slice(place + 1), [...(earlier.get(rest.slice(place + 1)) ?? []), [rest.slice(0, place), verdict]]);
  }
  clips.forEach((clip, number) => {
    ratings[number] = readRating(keeper.getItem(keyOf(number)));
    const others = (earlier.get(clip.name) ?? []).filter(([pcm]) => pcm !== clip.pcm).map(([, verdict]) => verdict);
    const line = panels[number].querySelector(".earlier");
    line.hidden = others.length === 0;
    line.textContent = `When this clip sounded otherwise, you said: ${others.join(", ")}.`;
    showRating(number);
  });
  showBallot();
}

function rate(number, change) {
  ratings[number] = { ...ratings[number], ...change };
  const { verdict, note } = ratings[number];
  keep(keyOf(number), JSON.stringify({ verdict, note }));
  showRating(number);
  showBallot();
}

/** The same verdict once more takes it back. */
function giveVerdict(number, verdict) {
  const given = ratings[number].verdict === verdict ? "" : verdict;
  rate(number, { verdict: given });
  tell(given ? `${clips[number].called}: ${given}` : `${clips[number].called}: no verdict`);
}

const bytesOf = (text) => new TextEncoder().encode(text).length;

/** The JSON of the ballot; of several, where one would be too large. */
function ballots(made = new Date()) {
  const rated = clips
    .map((clip, number) => ({ clip: clip.name, ...ratings[number], pcm: clip.pcm }))
    .filter((rating) => rating.verdict)
    .map((rating) => JSON.stringify({ ...rating, note: rating.note.trim().toWellFormed?.() ?? rating.note.trim() }));
  const listener = document.getElementById("listener").value.trim();
  const head = JSON.stringify({ ballot: BALLOT_VERSION, listener, made: made.toISOString() }).slice(0, -1);
  const wrap = (part) => `${head},"ratings":[${part.join(",")}]}`;
  const room = MOST_BYTES - bytesOf(wrap([]));
  const parts = [];
  let used = Infinity;
  for (const rating of rated) {
    const size = bytesOf(rating) + 1;
    if (used + size > room || parts.at(-1).length === MOST_RATINGS) {
      parts.push([]);
      used = 0;
    }
    parts.at(-1).push(rating);
    used += size;
  }
  return parts.map(wrap);
}

const asText = (ballot) => AS_TEXT + inBase64Url(new TextEncoder().encode(ballot));

function showBallot() {
  const rated = ratings.filter((rating) => rating.verdict).length;
  const unsaid = ratings.filter((rating) => rating.note && !rating.verdict).length;
  const lone = unsaid ? ` Of ${unsaid} more there is a note without a verdict: that stays here.` : "";
  document.getElementById("ballot-count").textContent = `${rated} of ${clips.length} clips rated.${lone}`;
  document.getElementById("save").disabled = rated === 0;
  document.getElementById("copy").disabled = rated === 0;
  if (document.getElementById("as-text").open) showText();
}

function showText() {
  document.getElementById("ballot-text").value = ballots().map(asText).join("\n");
}

function save() {
  const made = new Date();
  const parts = ballots(made);
  parts.forEach((ballot, index) => {
    const link = document.createElement("a");
    const part = parts.length > 1 ? `-${index + 1}-of-${parts.length}` : "";
    link.href = URL.createObjectURL(new Blob([`${ballot}\n`], { type: "application/json" }));
    link.download = `ballot-${made.toISOString().slice(0, 10)}${part}.json`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  });
  tell("The ballot is saved.");
}

async function copy() {
  showText();
  const field = document.getElementById("ballot-text");
  field.select();
  try {
    await navigator.clipboard.writeText(field.value);
    tell("The text is copied.");
  } catch { // a browser that allows it to no page from a disk
    tell("Copy the text that is marked.");
  }
}

document.addEventListener("click", (event) => {
  if (event.target.matches(".answers button")) {
    giveVerdict(panels.indexOf(event.target.closest(".clip")), event.target.value);
  }
});
document.addEventListener("input", (event) => {
  if (event.target.matches(".verdict textarea")) {
    rate(panels.indexOf(event.target.closest(".clip")), { note: event.target.value });
  }
  if (event.target.id === "listener") {
    keep("dropkiln/listener", event.target.value);
    showBallot();
  }
});
document.getElementById("save").addEventListener("click", save);
document.getElementById("copy").addEventListener("click", copy);
document.getElementById("as-text").addEventListener("toggle", showBallot);
window.addEventListener("storage", readAll); // rated in another window
document.getElementById("listener").value = keeper.getItem("dropkiln/listener") ?? "";
readAll();
