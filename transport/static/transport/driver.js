// Shares the position and keeps presses while there is no connection. All words come from the page.
"use strict";
(() => {
  const page = document.getElementById("drive"), data = page.dataset, token = data.token;
  const show = (id, on) => document.getElementById(id).classList.toggle("hidden", !on);
  const read = (name) => { try { return JSON.parse(localStorage.getItem(name + token)) || []; } catch (error) { return []; } };
  const write = (name, value) => { try { localStorage.setItem(name + token, JSON.stringify(value)); } catch (error) { /* full: the newest stay in this page */ } };
  const key = () => Date.now().toString(36) + "-" + Math.random().toString(36).slice(2, 12);
  const MOST_KEPT = 3000, BATCH = 100, MOVED_M = 40;
  let fixes = read("fixes"), presses = read("presses"), sharing = false, denied = false, sentAt = Number(read("sentAt")) || 0, last = null, busy = false, again = false;

  async function send(url, options) {
    const stop = new AbortController(), timer = setTimeout(() => stop.abort(), 15000);
    try { return await fetch(url, { ...options, cache: "no-store", signal: stop.signal }); }
    finally { clearTimeout(timer); }
  }
  async function sendPresses() {
    while (presses.length) {
      const one = presses[0];
      const answer = await send(one.url, { method: "POST", body: new URLSearchParams(one.fields), headers: { "Sent-At": new Date().toISOString() } });
      if (answer.status >= 500 || answer.status === 408 || answer.status === 429) return false;
      presses.shift(); write("presses", presses); tell();
      if (!answer.ok) show("refused", true); else if (!presses.length) location.replace(answer.url);
    }
    return true;
  }
  async function sendFixes() {
    while (fixes.length) {
      const batch = [...fixes].sort((a, b) => (a.happened_at < b.happened_at ? 1 : -1)).slice(0, BATCH);
      const answer = await send(data.api, {
        method: "POST", credentials: "omit", headers: { "Content-Type": "application/json", Authorization: "Driver " + token },
        body: JSON.stringify({ sent_at: new Date().toISOString(), positions: batch }),
      });
      if (!answer.ok && answer.status !== 400) return;
      if (answer.ok) { sentAt = Date.now(); write("sentAt", sentAt); }
      const gone = new Set(batch.map((one) => one.key));
      fixes = fixes.filter((one) => !gone.has(one.key)); write("fixes", fixes);
    }
  }
  async function lookForChange() {
    const answer = await send(data.stateurl, {});
    if (answer.status === 404) location.reload();
    if (answer.ok && (await answer.json()).state !== data.state) location.reload();
  }
  async function flush() {
    if (busy) { again = true; return; }
    busy = true;
    try { if (await sendPresses()) { await sendFixes(); if (!presses.length) await lookForChange(); } } catch (error) { /* offline: the next round */ }
    busy = false; tell();
    // Pressed while the last round was under way: it does not wait for the next minute.
    if (again) { again = false; flush(); }
  }
  function tell() {
    const waiting = document.getElementById("waiting"), age = document.getElementById("age");
    waiting.textContent = waiting.dataset.text.replace("#", presses.length);
    show("waiting", presses.length > 0);
    if (denied) { age.textContent = age.dataset.denied; return; }
    if (!sharing) return;
    const minutes = Math.floor((Date.now() - sentAt) / 60000);
    age.textContent = (!sentAt ? age.dataset.never : minutes < 1 ? age.dataset.now : age.dataset.minutes.replace("#", minutes))
      + (fixes.length ? " " + age.dataset.queued.replace("#", fixes.length) : "");
  }
  function metres(a, b) {
    const rad = Math.PI / 180, x = (b.longitude - a.longitude) * rad * Math.cos(a.latitude * rad), y = (b.latitude - a.latitude) * rad;
    return Math.sqrt(x * x + y * y) * 6371000;
  }
  function fix(found) {
    const here = found.coords, since = last ? Date.now() - last.at : Infinity;
    const moved = last ? metres(last, here) > Math.max(MOVED_M, here.accuracy || 0) : true;
    if (since < (moved ? 60000 : 300000)) return;
    last = { at: Date.now(), latitude: here.latitude, longitude: here.longitude };
    fixes.push({ key: key(), happened_at: new Date(found.timestamp).toISOString(), latitude: here.latitude, longitude: here.longitude, accuracy_m: here.accuracy });
    fixes = fixes.slice(-MOST_KEPT); write("fixes", fixes); flush();
  }
  async function stayAwake() {
    try { if (navigator.wakeLock && sharing && document.visibilityState === "visible") await navigator.wakeLock.request("screen"); } catch (error) { /* the phone may refuse */ }
  }
  function share() {
    sharing = true; denied = false; show("share", false); write("sharing", true); stayAwake(); tell();
    navigator.geolocation.watchPosition(fix, (error) => {
      if (error.code === 1) { denied = true; sharing = false; write("sharing", []); show("share", true); tell(); }
    }, { enableHighAccuracy: true, maximumAge: 30000 });
  }
  // The one button that comes next, and the one that takes the last press back.
  const nexts = [...page.querySelectorAll("#milestones form")], backs = [...page.querySelectorAll("#mistakes form")];
  const steps = backs.map((form) => form.elements.mistake.value);
  let reached = backs.length ? Number(document.getElementById("mistakes").dataset.reached) : 0;
  function pass(fields) {
    const next = steps.indexOf(fields.milestone), back = steps.indexOf(fields.mistake);
    if (next < 0 && back < 0) return;
    reached = back < 0 ? Math.max(reached, next + 1) : back;
    nexts.forEach((form) => form.classList.toggle("hidden", form.elements.milestone.value !== steps[reached]));
    backs.forEach((form, place) => form.classList.toggle("hidden", place !== reached - 1));
    // Pressed again after it was taken back it is another press.
    if (back >= 0) [...nexts, ...backs].forEach((form) => { form.elements.key.value = key(); });
  }
  presses.forEach((one) => pass(one.fields));
  page.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.hasAttribute("data-queue")) return;
    event.preventDefault();
    const fields = Object.fromEntries(new FormData(form));
    if (presses.some((one) => one.fields.key === fields.key)) return;
    presses.push({ url: form.action, fields: { ...fields, happened_at: new Date().toISOString() } });
    write("presses", presses); tell();
    pass(fields); flush();
  });
  if (window.isSecureContext && navigator.geolocation) {
    show("share", true);
    document.getElementById("share").addEventListener("click", share);
    if (read("sharing") === true) share();
  }
  document.addEventListener("visibilitychange", stayAwake);
  window.addEventListener("online", flush);
  setInterval(flush, 60000); setInterval(tell, 15000); flush();
})();
