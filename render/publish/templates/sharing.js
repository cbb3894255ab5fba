"use strict";
(() => {
  const format = JSON.parse(document.getElementById("format").textContent);
  const FIRST_VOLUME = 0.5;
  const byId = (id) => document.getElementById(id);
  const clips = [...document.querySelectorAll(".shared-clip")].map((article) => ({
    name: article.dataset.clip,
    pcm: article.dataset.pcm,
    audio: article.querySelector("audio"),
    answers: [...article.querySelectorAll(".answers button")],
    note: article.querySelector("textarea"),
  }));

  // What was said is kept under the sound it was said of; a browser may refuse to keep anything.
  let keeps = true;
  try {
    bringBack("shared-clip:");
  } catch {
    keeps = false;
  }
  const keyOf = (clip) => `shared-clip:${clip.pcm}:${clip.name}`;
  const kept = (key) => {
    try {
      return localStorage.getItem(key);
    } catch {
      keeps = false;
      return null;
    }
  };
  const keep = (key, text) => {
    try {
      keepTwice(key, text);
    } catch {
      keeps = false;
    }
    byId("keeps-nothing").hidden = keeps;
  };

  const verdictOf = (clip) => clip.answers.find((one) => one.getAttribute("aria-pressed") === "true")?.value;
  const press = (clip, verdict) =>
    clip.answers.forEach((one) => one.setAttribute("aria-pressed", String(one.value === verdict)));

  const ballot = () => ({
    ballot: format.version,
    listener: byId("listener").value.trim(),
    made: new Date().toISOString(),
    ratings: clips
      .filter(verdictOf)
      .map((clip) => ({ clip: clip.name, verdict: verdictOf(clip), note: clip.note.value, pcm: clip.pcm })),
  });

  // JSON.stringify writes a lone half of a character as an escape, which whoever reads the ballot drops.
  const bytesOf = (made) => new TextEncoder().encode(JSON.stringify(made));

  const show = () => {
    const made = ballot();
    const bytes = bytesOf(made);
    const count = made.ratings.length;
    const fits = bytes.length <= format.most_bytes;
    const ready = count > 0 && fits;
    byId("text").value = ready ? format.prefix + inBase64Url(bytes) : "";
    byId("save").disabled = byId("copy").disabled = !ready;
    byId("copied").textContent = "";
    byId("count").textContent = !fits
      ? "Your notes are too long for one ballot: shorten some."
      : `${count} of ${clips.length} rated.`;
  };

  const changed = (clip) => {
    keep(keyOf(clip), JSON.stringify({ verdict: verdictOf(clip), note: clip.note.value }));
    show();
  };

  const restore = (clip) => {
    try {
      const said = JSON.parse(kept(keyOf(clip)) ?? "{}");
      press(clip, said.verdict);
      clip.note.value = String(said.note ?? "").slice(0, clip.note.maxLength);
    } catch (error) {
      if (!(error instanceof SyntaxError)) throw error; // somebody else's, under our key
    }
  };

  clips.forEach((clip) => {
    clip.audio.volume = FIRST_VOLUME;
    clip.audio.addEventListener("play", () =>
      clips.forEach((other) => other !== clip && other.audio.pause()),
    );
    clip.answers.forEach((button) =>
      button.addEventListener("click", () => {
        press(clip, verdictOf(clip) === button.value ? undefined : button.value);
        changed(clip);
      }),
    );
    clip.note.addEventListener("input", () => changed(clip));
    restore(clip);
  });

  byId("listener").value = (kept("shared-clip:listener") ?? "").slice(0, byId("listener").maxLength);
  byId("listener").addEventListener("input", () => {
    keep("shared-clip:listener", byId("listener").value);
    show();
  });

  byId("save").addEventListener("click", () => {
    const link = document.createElement("a");
    const url = URL.createObjectURL(new Blob([bytesOf(ballot())], { type: "application/json" }));
    link.href = url;
    link.download = "ballot.json";
    link.click();
    setTimeout(() => URL.revokeObjectURL(url), 60000); // some browsers ask first where to save
  });

  byId("copy").addEventListener("click", async () => {
    byId("text").select();
    try {
      await navigator.clipboard.writeText(byId("text").value);
      byId("copied").textContent = "Copied.";
    } catch {
      byId("copied").textContent = "The text is selected: copy it.";
    }
  });

  document.querySelectorAll(".verdict, #ballot").forEach((part) => (part.hidden = false));
  byId("keeps-nothing").hidden = keeps;
  show();
})();
