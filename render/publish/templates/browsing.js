"use strict";
// Finds, orders and walks through combinations, by taps and by keys.

const list = document.getElementById("combinations");
const nothing = document.getElementById("nothing-shown");
let hand = null; // the combination that keys are about

const visible = () => [...list.querySelectorAll(".combination:not([hidden])")];
const numberOf = (article) => articles.indexOf(article);
const atHand = () => (hand === null || articles[hand].hidden ? null : shownOf(hand));

const WANTED = {
  all: () => true,
  unrated: (number) => !ratings[number].verdict,
  works: (number) => ratings[number].verdict === "works",
  almost: (number) => ratings[number].verdict === "almost",
  no: (number) => ratings[number].verdict === "no",
  warns: (number) => clips[number].warns,
};
const VERDICTS = ["works", "almost", "", "no"];
const least = (members, value) => Math.min(...members.map((number) => value(number) ?? Infinity));
const ORDERS = {
  title: () => 0,
  verdict: (members) => least(members, (number) => VERDICTS.indexOf(ratings[number].verdict)),
  landing: (members) => least(members, (number) => clips[number].landing_ms),
  headroom: (members) => least(members, (number) => clips[number].headroom_db),
};

/** Show what is asked for. A clip that plays stays where it is heard and seen. */
function sift() {
  const words = document.getElementById("sought").value.toLowerCase().split(/\s+/).filter(Boolean);
  const wanted = WANTED[document.getElementById("shown").value];
  const fits = (number) => wanted(number) && words.every((word) => clips[number].sought.includes(word));
  let count = 0;
  articles.forEach((article, index) => {
    const found = membersOf[index].filter(fits);
    article.hidden = found.length === 0;
    count += found.length;
    const plays = membersOf[index].some((number) => !audios[number].paused);
    if (found.length && !found.includes(shownOf(index)) && !plays) show(found[0]);
  });
  nothing.hidden = count > 0 || clips.length === 0;
  showWhere();
  tell(`${count} of ${clips.length} clips shown`);
}

function order() {
  const worth = ORDERS[document.getElementById("order").value];
  const ordered = articles
    .map((article, index) => [article, worth(membersOf[index]), index])
    .sort(([, one, place], [, other, later]) => (one === other ? place - later : one - other));
  for (const [article] of ordered) list.append(article); // what plays goes on: it is back before anybody looks
  showWhere();
}

function take(index, focus) {
  if (hand !== null) articles[hand].classList.remove("at-hand");
  hand = index;
  articles[hand].classList.add("at-hand");
  if (focus) {
    articles[hand].querySelector("h2").focus({ preventScroll: true });
    articles[hand].scrollIntoView({ block: "start" });
  }
  showWhere();
}

function showWhere() {
  const shown = visible();
  const place = hand === null ? -1 : shown.indexOf(articles[hand]);
  document.getElementById("where").textContent = place < 0 ? `${shown.length} shown` : `${place + 1} of ${shown.length}`;
  document.getElementById("before").disabled = place <= 0;
  document.getElementById("next").disabled = shown.length === 0 || place === shown.length - 1;
}

/** To the combination so many places on. What was playing stops, and its successor plays. */
function walk(steps) {
  const shown = visible();
  const place = hand === null ? -1 : shown.indexOf(articles[hand]);
  const goal = shown[place < 0 ? 0 : place + steps];
  if (!goal) return;
  const heard = playing !== null && !audios[playing].paused;
  take(numberOf(goal), true);
  if (heard) start(shownOf(hand));
}

function nextVariant(steps) {
  const members = membersOf[hand];
  const place = members.indexOf(shownOf(hand));
  const number = members[(place + steps + members.length) % members.length];
  if (members.length > 1) {
    choose(number);
    tell(clips[number].called);
  }
}

function playOrStop(number) {
  if (audios[number].paused) start(number);
  else audios[number].pause();
}

const KEYS = {
  " ": playOrStop,
  l: playNearLanding,
  v: () => nextVariant(1),
  V: () => nextVariant(-1),
  w: (number) => giveVerdict(number, "works"),
  a: (number) => giveVerdict(number, "almost"),
  n: (number) => giveVerdict(number, "no"),
  m: (number) => panels[number].querySelector(".verdict textarea").focus(),
};
const WALKING = { j: 1, k: -1 };

function pressed(event) {
  const target = event.target;
  if (event.key === "Escape" && target.matches("textarea, input")) target.closest("article")?.querySelector("h2").focus();
  const writes = target.matches('textarea, select, input:not([type="radio"], [type="checkbox"])');
  if (writes || event.ctrlKey || event.altKey || event.metaKey || !document.getElementById("keys-on").checked) return;
  if (event.key === " " && target.matches("button, input, summary, a, audio")) return; // theirs
  const key = event.shiftKey ? event.key : event.key.toLowerCase();
  if (key in WALKING) {
    walk(WALKING[key]);
  } else if (key === "f") {
    document.getElementById("sought").focus();
  } else if (key in KEYS) {
    if (atHand() === null && visible().length) take(numberOf(visible()[0]), true);
    if (atHand() !== null) KEYS[key](atHand());
  } else {
    return;
  }
  event.preventDefault();
}

document.addEventListener("keydown", pressed);
for (const name of ["focusin", "pointerdown"]) {
  list.addEventListener(name, (event) => {
    const article = event.target.closest(".combination");
    if (article && numberOf(article) !== hand) take(numberOf(article), false);
  });
}
document.getElementById("sought").addEventListener("input", sift);
document.getElementById("shown").addEventListener("change", sift);
document.getElementById("order").addEventListener("change", order);
document.getElementById("before").addEventListener("click", () => walk(-1));
document.getElementById("next").addEventListener("click", () => walk(1));
document.getElementById("keys-on").checked = keeper.getItem("dropkiln/keys") !== "off";
document.getElementById("keys-on").addEventListener("change", (event) => {
  keep("dropkiln/keys", event.target.checked ? "on" : "off");
});

document.documentElement.classList.add("scripted");
for (const hidden of document.querySelectorAll(".finding-out, .variants, .scripted-only, #ballot, #keys, .bar")) {
  hidden.hidden = false;
}
showWhere();
