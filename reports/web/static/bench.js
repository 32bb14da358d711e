"use strict";
// What scripts add; every page works without them.

// How the forecast moved comes into the page by itself, one part after the other.
const fill = (page) => {
  for (const part of page.querySelectorAll("[data-part]")) {
    const address = new URL(part.dataset.part, location);
    address.searchParams.set("part", "1");
    fetch(address).then(async (answer) => {
      if (answer.ok) { part.innerHTML = await answer.text(); fill(part); }
    }).catch(() => {});
  }
};
fill(document);

// Leaves are counted with a thumb: one tap a leaf, "next shoot" begins another count.
for (const row of document.querySelectorAll("[data-counter]")) {
  const field = row.querySelector("input");
  const button = (words, act) => {
    const one = document.createElement("button");
    one.type = "button"; one.className = "plain small"; one.textContent = words;
    one.addEventListener("click", act); row.append(one);
  };
  button("+1 leaf", () => {
    const counts = field.value.split(",");
    counts.push(String((parseInt(counts.pop(), 10) || 0) + 1));
    field.value = counts.join(",");
  });
  button("Next shoot", () => { if (field.value && !field.value.endsWith(",")) field.value += ","; });
}

// A form is sent once; without a connection it is kept here, and sent when there is one. Its token has it
// written once, however often it arrives. Photos are too large to be kept: the form stays open for them.
const KEPT = "flushcast-drafts";
const drafts = () => JSON.parse(localStorage.getItem(KEPT) || "{}");
const keep = (all) => localStorage.setItem(KEPT, JSON.stringify(all));
const say = (words) => {
  let line = document.getElementById("told");
  if (!line) {
    line = document.createElement("p");
    line.id = "told"; line.className = "waits"; line.setAttribute("role", "status");
    document.querySelector("main").prepend(line);
  }
  line.textContent = words;
};

for (const form of document.querySelectorAll("form[data-draft]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = form.querySelector("button:not([type=button])"), data = new FormData(form);
    button.disabled = true;
    let answer;
    try {
      answer = await fetch(form.action, {
        method: "POST", body: form.enctype.startsWith("multipart") ? data : new URLSearchParams(data) });
    } catch {
      const all = drafts(), fields = [...data].filter(([, value]) => typeof value === "string");
      all[form.dataset.draft] = { action: form.action, fields };
      keep(all);
      const photo = form.querySelector("input[type=file]");
      say("No connection. This is kept in the phone and sent once there is one."
        + (photo && photo.files.length ? " Its photo is not: take it again then." : ""));
      button.disabled = false;
      return;
    }
    if (answer.redirected) location.assign(answer.url);
    else form.submit(); // a question, or something is wrong: nothing was saved, and the page says what
  });
}
window.addEventListener("pageshow", () => {
  for (const button of document.querySelectorAll("form[data-draft] button")) button.disabled = false;
});

const send = async () => {
  for (const [token, draft] of Object.entries(drafts())) {
    let answer;
    try {
      answer = await fetch(draft.action, { method: "POST", body: new URLSearchParams(draft.fields) });
    } catch { return; }
    const all = drafts();
    if (answer.ok && answer.redirected) {
      delete all[token]; keep(all);
      say("What was kept in the phone has been sent.");
    } else if (answer.status < 500) { // a question, or something was written meanwhile: the grower decides
      delete all[token]; keep(all);
      const form = document.createElement("form");
      form.method = "post"; form.action = draft.action;
      for (const [name, value] of draft.fields) {
        const field = document.createElement("input");
        field.type = "hidden"; field.name = name; field.value = value; form.append(field);
      }
      document.body.append(form); form.submit();
      return;
    }
  }
};
window.addEventListener("online", send);
if (navigator.onLine) send();
