"use strict";
// What the pages that are rated have in common: where what is said is kept, and how a ballot becomes a short text.

/** Chromium on a busy machine was seen to lose `localStorage` as a page is loaded again; what its tab keeps, it has. */
function bringBack(prefix) {
  for (const [key, value] of Object.entries(sessionStorage)) {
    if (key.startsWith(prefix) && localStorage.getItem(key) === null) localStorage.setItem(key, value);
  }
}

function keepTwice(key, value) {
  localStorage.setItem(key, value);
  sessionStorage.setItem(key, value);
}

function inBase64Url(bytes) {
  const letters = Array.from(bytes, (byte) => String.fromCharCode(byte)).join("");
  return btoa(letters).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}
