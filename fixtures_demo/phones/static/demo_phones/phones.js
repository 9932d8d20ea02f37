// Looks every three seconds whether a newer message came, and shows the page anew when one did.
"use strict";
(function () {
  const page = document.querySelector("[data-newest]");
  if (!page) return;
  setInterval(async function () {
    if (document.hidden) return;
    try {
      const answer = await fetch(page.dataset.newestUrl, { cache: "no-store" });
      const { newest } = await answer.json();
      if (String(newest) !== page.dataset.newest) location.reload();
    } catch {
      // The service restarts or the link is down: the next look will tell.
    }
  }, 3000);
})();
