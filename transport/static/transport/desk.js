// Listens to the desk's stream and fetches the rows again. All words come from the page.
"use strict";
(() => {
  const desk = document.getElementById("desk");
  const live = document.getElementById("live");
  const sound = document.getElementById("sound");
  const alertsNow = () => [...desk.querySelectorAll("[data-alert]")].map((one) => one.dataset.alert);
  let heard = Date.now(), fetched = heard, tried = heard, pressed = 0, audio = null;
  let known = new Set(alertsNow());

  function chime() {
    [660, 880].forEach((hertz, place) => {
      const tone = audio.createOscillator(), loudness = audio.createGain();
      const at = audio.currentTime + place * 0.18;
      tone.frequency.value = hertz;
      loudness.gain.setValueAtTime(0.3, at);
      loudness.gain.exponentialRampToValueAtTime(0.001, at + 0.4);
      tone.connect(loudness).connect(audio.destination);
      tone.start(at); tone.stop(at + 0.4);
    });
  }
  function put(html) {
    const open = [...desk.querySelectorAll("details[open][id]")].map((one) => one.id);
    const focused = desk.contains(document.activeElement) && document.activeElement.id;
    desk.innerHTML = html;
    open.forEach((id) => { const one = document.getElementById(id); if (one) one.open = true; });
    if (focused && document.getElementById(focused)) document.getElementById(focused).focus();
    const now = alertsNow();
    if (audio && now.some((one) => !known.has(one))) chime();
    known = new Set(now);
  }
  async function fetchRows() {
    // Never move a button under a finger that is pressing it.
    if (Date.now() - pressed < 700) { setTimeout(fetchRows, 800); return; }
    tried = Date.now();
    try {
      const answer = await fetch(desk.dataset.rows, { cache: "no-store" });
      if (answer.redirected || answer.status === 404) { location.reload(); return; }
      if (answer.ok) { put(await answer.text()); fetched = heard = Date.now(); }
    } catch (error) { /* the line below says how old the page is */ }
  }
  function tell() {
    const silent = Math.round((Date.now() - heard) / 1000), loud = silent > 30;
    const streaming = stream && stream.readyState === EventSource.OPEN;
    live.textContent = streaming && silent <= 20 ? live.dataset.live
      : silent < 120 ? live.dataset.seconds.replace("#", silent) : live.dataset.minutes.replace("#", Math.round(silent / 60));
    live.classList.toggle("on", Boolean(streaming) && !loud);
    live.classList.toggle("loud", loud);
    const wait = streaming && !loud ? 60000 : 15000;
    if (Date.now() - Math.max(fetched, tried) >= wait) fetchRows();
  }
  const stream = window.EventSource ? new EventSource(desk.dataset.stream) : null;
  if (stream) ["changed", "beat"].forEach((kind) => stream.addEventListener(kind, () => {
    heard = Date.now(); if (kind === "changed") fetchRows();
  }));
  desk.addEventListener("pointerdown", () => { pressed = Date.now(); });
  sound.classList.remove("hidden");
  sound.addEventListener("click", () => { audio = audio || new AudioContext(); audio.resume(); chime(); sound.textContent = sound.dataset.on; });
  setInterval(tell, 1000); tell();
})();
