// Additions to the phone pages; every page works without them.
// 1. A form is sent once: the second press of a pressed button does nothing.
// 2. The part of a page that changes is fetched again every so many seconds.
// 3. Minutes since a moment go on counting.
(function () {
  "use strict";
  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "yes";
    // A lost connection must not lock the form: the server knows its key, so it may be sent again.
    window.setTimeout(function () { delete form.dataset.sent; }, 8000);
  });
  window.addEventListener("pageshow", function () {
    document.querySelectorAll("form[data-sent]").forEach(function (form) { delete form.dataset.sent; });
  });

  var opened = Date.now();
  var told = Date.parse(document.body.dataset.serverNow);
  var speed = Number(document.body.dataset.clockSpeed) || 1;
  function now() { return told + (Date.now() - opened) * speed; }
  function count() {
    document.querySelectorAll("[data-since]").forEach(function (mark) {
      mark.textContent = Math.max(0, Math.floor((now() - Date.parse(mark.dataset.since)) / 60000));
    });
  }
  count();
  window.setInterval(count, 5000);

  var part = document.querySelector("[data-from]");
  if (!part || !window.fetch) { return; }
  // "unanswered", "signed-out" or "ended": which of its sentences the page shows, or none.
  function say(which) {
    document.querySelectorAll("#news [data-when]").forEach(function (line) {
      line.hidden = line.dataset.when !== which;
    });
  }
  var etag = "";
  function look() {
    if (document.hidden) { return; }
    var headers = etag ? { "If-None-Match": etag } : {};
    fetch(part.dataset.from, { headers: headers, cache: "no-store", credentials: "same-origin", redirect: "manual" })
      .then(function (answer) {
        // The only way out of these addresses leads to the sign-in.
        if (answer.type === "opaqueredirect") { say("signed-out"); return null; }
        if (answer.status === 404 || answer.status === 410) { say("ended"); return null; }
        if (answer.status !== 304 && !answer.ok) { throw new Error(answer.status); }
        say("");
        if (answer.status === 304) { return null; }
        etag = answer.headers.get("ETag") || "";
        return answer.text();
      })
      .then(function (text) {
        if (text !== null && text !== part.innerHTML) { part.innerHTML = text; }
      })
      .catch(function () { say("unanswered"); });
  }
  window.setInterval(look, Number(part.dataset.every) * 1000);
  document.addEventListener("visibilitychange", look);
}());
