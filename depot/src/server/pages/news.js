// Asks now and then whether entries came that this page does not show, and offers them. Only while someone looks at it.
"use strict";

const place = document.querySelector("[data-news]");
const EVERY_MS = 20_000;
let asking = false;

async function ask() {
  if (asking || document.visibilityState !== "visible") return;
  asking = true;
  try {
    const reply = await fetch(place.dataset.news, { cache: "no-store", redirect: "error" });
    if (reply.status === 200) offer(await reply.text());
    else if (reply.status === 401) clearInterval(timer); // signed out: the next page asks who it is
  } catch {
    // The depot is out of reach: asked again in a while.
  } finally {
    asking = false;
  }
}

function offer(words) {
  const shown = place.querySelector("a");
  if (shown?.textContent === words) return;
  const link = document.createElement("a");
  link.href = location.pathname;
  link.textContent = words;
  // Changed in its place: whoever stands on it stays there.
  if (shown) shown.textContent = words;
  else place.replaceChildren(link);
}

const timer = setInterval(ask, EVERY_MS);
document.addEventListener("visibilitychange", ask);
