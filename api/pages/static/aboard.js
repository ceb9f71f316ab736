// What the pages can do beyond HTML. Every page and form works without it. No dependency, plain http is enough.
"use strict";
const say = words => { document.getElementById("say").textContent = words; };
const root = document.documentElement;

// 1. Day and night without asking the server; the cookie is the one the form sets.
for (const form of document.querySelectorAll("form.light")) form.addEventListener("submit", event => {
  event.preventDefault();
  root.dataset.light = event.submitter.value;
  document.cookie = `light=${event.submitter.value};path=/;max-age=31536000;samesite=lax`;
  form.querySelector(event.submitter.value === "night" ? ".to-day" : ".to-night").focus();
});

// 2. The plant page is read again while it is being looked at; what has the focus is left alone.
const live = document.getElementById("live");
const again = async () => {
  if (document.hidden || live.contains(document.activeElement)) return;
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (!answer.ok || answer.redirected) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const id of ["live", "clock"]) {
      const [old, fresh] = [document.getElementById(id), page.getElementById(id)];
      if (old && fresh && old.innerHTML !== fresh.innerHTML) old.innerHTML = fresh.innerHTML;
    }
  } catch { say("No network. The page shows what was known when it was last read."); }
};
if (live) setInterval(again, 1000 * live.dataset.every);

// 3. Drafts: what is typed is kept on this device until the job is closed, with the key that makes it count once.
const kept = name => `draft:${name}`;
const read = name => { try { return JSON.parse(localStorage.getItem(kept(name))); } catch { return null; } };
const write = (name, value) => { try { localStorage.setItem(kept(name), JSON.stringify(value)); } catch { /* no room or not allowed: the form still works */ } };
// A job's drafts are named by its key and how many entries it has; those of another number are over.
const forget = (name, but) => { try {
  for (const key of Object.keys(localStorage))
    if (key !== kept(but) && (key.startsWith(`${kept(name)} `) || !but && key === kept(name))) localStorage.removeItem(key);
} catch { /* nothing was kept */ } };
for (const closed of document.querySelectorAll("[data-forget]")) forget(closed.dataset.forget);
for (const sheet of document.querySelectorAll("form[data-keep]")) {
  const name = sheet.dataset.keep;
  if (name.includes(" ")) forget(name.split(" ")[0], name);
  const refused = "refused" in sheet.dataset, draft = refused ? null : read(name);
  for (const [key, value] of draft ?? []) {
    const field = sheet.elements[key];
    if (!field || ["csrf", "version", "utc_offset_minutes"].includes(key)) continue;
    if (field.type === "checkbox") field.checked = true; else field.value = value;
  }
  const keep = () => write(name, [...new FormData(sheet)]);
  sheet.addEventListener("input", keep);
  if (refused) keep();
  sheet.addEventListener("submit", event => {
    event.preventDefault();
    keep();
    const send = async () => {
      try { await fetch("/livez", { cache: "no-store" }); } catch { say("No network. What you typed is kept on this device and is sent when the network is back."); return setTimeout(send, 10000); }
      if (event.submitter?.name) sheet.append(Object.assign(document.createElement("input"), { type: "hidden", name: event.submitter.name, value: event.submitter.value }));
      sheet.submit();
    };
    send();
  });
}
