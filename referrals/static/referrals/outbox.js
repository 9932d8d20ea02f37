// Forms marked data-queue lose nothing without a network: what is pressed is kept on this phone, in
// order, under a key and the time of this phone, and sent as soon as it can be. A page of questions
// goes on by itself meanwhile. All words come from the page; without this script every form works.
"use strict";
(() => {
  const box = () => document.getElementById("outbox"), all = (what) => [...document.querySelectorAll(what)];
  if (!box() || !window.fetch || !window.URLSearchParams) return;
  const { who, token } = box().dataset, made = new Set(), told = {}, spare = {};
  let full = false, busy = false, again = false, signedOut = false, lost = false, depth = 0, raised = "";

  function read(name) {
    try { if (!full) return JSON.parse(localStorage.getItem(name)) || []; } catch (error) { /* no store on this phone */ }
    return spare[name] || [];
  }
  function write(name, value) {
    spare[name] = value;
    try { localStorage.setItem(name, JSON.stringify(value)); full = false; } catch (error) { full = true; /* it stays in this page */ }
  }
  const remove = (one) => write("outbox", read("outbox").filter((each) => each.key !== one.key));
  const waiting = () => read("outbox").filter((each) => !each.refused);
  // A case called for without a network has no code yet: the key of the call stands in its place.
  const codeOf = (key) => (read("cases").find((each) => each[0] === key) || ["", key])[1];
  const addressOf = (one) => one.url.replace(/^\/r\/([^/]+)\//, (start, key) => "/r/" + codeOf(key) + "/");

  async function send(one) {
    const stop = new AbortController(), timer = setTimeout(() => stop.abort(), 15000);
    try {
      const answer = await fetch(addressOf(one), {
        method: "POST", body: new URLSearchParams(one.fields), cache: "no-store", signal: stop.signal,
        headers: { Authorization: "Phone " + (one.who === who ? token : one.token), "Sent-At": new Date().toISOString() },
      });
      return [answer, await answer.text()];
    } finally { clearTimeout(timer); }
  }
  async function sendFirst() {
    const [one] = waiting();
    if (!one) return false;
    const [answer, text] = await send(one);
    lost = false; signedOut = answer.status === 401;
    if (signedOut || answer.status >= 500 || answer.status === 408 || answer.status === 429) return false;
    if (answer.ok) { remove(one); taken(one, JSON.parse(text).next); } else notTaken(one, text);
    return true;
  }
  async function flush() {
    if (busy) { again = true; return; }
    busy = true; again = false;
    try { while (await sendFirst()) tell(); } catch (error) { lost = waiting().length > 0; }
    busy = false; tell();
    if (again) flush();
  }
  function taken(one, next) {
    const code = next.split("/")[2], link = document.getElementById("raised-link");
    if (one.raise) write("cases", [[one.key, code], ...read("cases")].slice(0, 20));
    if (one.raise && link) { all("[data-unheard]").forEach((each) => { each.hidden = true; }); link.href = next; link.textContent = link.dataset.text.replace("#", code); link.hidden = false; }
    if (made.has(one.key) && one.go && !(one.raise && depth)) location.assign(next);
  }
  // Refused: the form comes back where it was sent from, with its reason; else the reason is listed.
  function notTaken(one, text) {
    const page = new DOMParser().parseFromString(text, "text/html");
    const sentence = page.querySelector("main .errorlist li") || page.querySelector("main [role=alert]") || { textContent: box().dataset.unknown };
    const form = page.querySelector(".question:not([hidden])"), here = document.getElementById(one.place);
    remove(one);
    if (made.has(one.key) && here && form) {
      here.replaceWith(form); show(form);
    } else if (made.has(one.key) && one.go && page.querySelector("main form[data-queue]")) {
      document.querySelector("main").replaceWith(page.querySelector("main"));
    } else write("outbox", [...read("outbox"), { ...one, refused: sentence.textContent.trim() }]);
  }

  function tell() {
    const count = waiting().length, list = box().querySelector("ul");
    const shown = { saved: count > 0, lost: count > 0 && lost, "signed-out": count > 0 && signedOut, sent: !count && made.size > 0 };
    all("#outbox [data-when]").forEach((line) => {
      line.hidden = !shown[line.dataset.when];
      if (line.dataset.text) line.textContent = line.dataset.text.replace("#", count);
    });
    list.replaceChildren(...read("outbox").filter((each) => each.refused).map((one) => {
      const row = list.nextElementSibling.content.cloneNode(true), [sentence, link, leave] = row.querySelectorAll("p, a, button");
      sentence.textContent = one.label + ": " + one.refused; link.href = addressOf(one);
      leave.addEventListener("click", () => { remove(one); tell(); });
      return row;
    }));
    const end = document.getElementById("q-end");
    if (end && !end.hidden && !count && end.dataset.next) { location.assign(end.dataset.next); end.dataset.next = ""; }
  }

  // One question after the other on the page that is open; the phone's own button goes back.
  function show(section) {
    all(".question").forEach((each) => { each.hidden = each !== section; });
    all("[data-first]").forEach((each) => { each.hidden = true; });
    all("#back").forEach((each) => { each.hidden = !depth && !each.getAttribute("href"); });
    scrollTo(0, 0);
  }
  function go(section) { depth += 1; history.pushState({ place: section.id, depth }, ""); show(section); }
  function goOn(from) {
    const row = all(".question:not([data-beside])"), next = row.slice(row.indexOf(from) + 1).find((each) => {
      const before = told[each.dataset.whose + each.dataset.after];
      return !each.dataset.done && !(before && !each.dataset.words.split(" ").includes(before));
    });
    from.dataset.done = "yes";
    go(from.hasAttribute("data-beside") ? document.getElementById("q-end") : next);
  }
  window.addEventListener("popstate", (event) => {
    depth = event.state ? event.state.depth || 0 : 0;
    const section = event.state && event.state.place ? document.getElementById(event.state.place) : all(".question")[0];
    if (section) show(section);
  });
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a"), section = link && all(".question").find((each) => each.dataset.path === link.getAttribute("href"));
    if (link && link.id === "back" && depth) { event.preventDefault(); history.back(); } else if (section) { event.preventDefault(); go(section); }
  });

  document.addEventListener("submit", (event) => {
    const form = event.target, button = event.submitter;
    if (!form.hasAttribute("data-queue") || !button) return;
    event.preventDefault(); event.stopImmediatePropagation();
    if (form.dataset.sent) return;
    const section = form.closest(".question"), raise = form.hasAttribute("data-raise"), stamp = Date.now().toString(36);
    const key = (raise ? "new-" : "") + stamp + "-" + Math.random().toString(36).slice(2, 12);
    const fields = [...new FormData(form)].filter(([name]) => name !== "csrfmiddlewaretoken" && name !== "key");
    if (button.name) fields.push([button.name, button.value]);
    if (section) fields.forEach(([name, value]) => { told[section.dataset.whose + name] = value; });
    const typed = [...form.querySelectorAll("input:not([type=hidden]), textarea")].map((each) => each.value);
    const label = [section ? section.querySelector("h1").textContent : "", ...typed, button.name ? button.textContent : ""].filter(Boolean).join(" ");
    const url = form.getAttribute("action").replace("/r/NEW/", "/r/" + raised + "/");
    fields.push(["key", key], ["happened_at", new Date().toISOString()]);
    made.add(key); write("outbox", [...read("outbox"), { key, who, token, url, fields, label, raise, go: !section, place: section ? section.id : "" }]);
    if (raise) raised = key;
    if (!section) { form.dataset.sent = "yes"; scrollTo(0, 0); }
    tell(); flush();
    if (section) {
      [...form.elements].filter((each) => button.name && each.name === button.name).forEach((each) => { each.classList.toggle("second", each !== button); });
      goOn(section);
    } else if (raise) called(0);
  }, true);
  // What is changed after it was sent is another telling.
  document.addEventListener("input", (event) => { if (event.target.form) delete event.target.form.dataset.sent; });
  // No answer to the call for help yet: say that it is saved and whom to ring, and ask on.
  function called(tries) {
    if (!lost && tries < 14) { setTimeout(called, 300, tries + 1); return; }
    if (!waiting().some((each) => each.key === raised)) return;
    all("[data-before]").forEach((each) => { each.hidden = true; });
    document.getElementById("raised").hidden = false;
    go(all(".question")[0]);
  }

  window.addEventListener("online", flush);
  document.addEventListener("visibilitychange", flush);
  setInterval(flush, 20000); flush();
})();
