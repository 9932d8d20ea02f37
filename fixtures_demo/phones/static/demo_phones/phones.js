// Looks every three seconds whether a newer message came, and puts only the lists anew when one
// did. A form that has the focus, is being pressed or was just sent is never taken away.
"use strict";
(function () {
  const page = document.querySelector("[data-newest]");
  if (!page) return;
  let pressed = 0;
  let sent = false;
  document.addEventListener("pointerdown", function () { pressed = Date.now(); });
  document.addEventListener("submit", function () { sent = true; });
  window.addEventListener("pageshow", function () { sent = false; });

  function inUse() {
    const focus = document.activeElement;
    return sent || Date.now() - pressed < 1500 || Boolean(focus && focus.closest("form"));
  }

  async function look() {
    if (document.hidden || inUse()) return;
    const answer = await fetch(page.dataset.newestUrl, { cache: "no-store" });
    const newest = String((await answer.json()).newest);
    if (newest === page.dataset.newest) return;
    const whole = await fetch(location.href, { cache: "no-store" });
    if (!whole.ok) return;
    const fresh = new DOMParser().parseFromString(await whole.text(), "text/html");
    if (inUse()) return; // it was pressed while the page was fetched: the next look puts it
    document.querySelectorAll("[data-part]").forEach(function (part) {
      const anew = fresh.querySelector(`[data-part="${part.dataset.part}"]`);
      if (anew) part.replaceChildren(...anew.childNodes);
    });
    page.dataset.newest = newest;
  }

  // The service restarts or the link is down: the next look will tell.
  setInterval(function () { look().catch(function () {}); }, 3000);
})();
