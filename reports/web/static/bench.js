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

// A form is sent once; without a connection it is kept here, photo and all, and sent when there is one. Its
// token has it written once, however often it arrives.
const drafts = (mode, act) => new Promise((done, failed) => {
  const opening = indexedDB.open("flushcast", 1);
  opening.onupgradeneeded = () => opening.result.createObjectStore("drafts", { keyPath: "token" });
  opening.onerror = () => failed(opening.error);
  opening.onsuccess = () => {
    const asked = act(opening.result.transaction("drafts", mode).objectStore("drafts"));
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  };
});
const say = (words) => {
  let line = document.getElementById("told");
  if (!line) {
    line = document.createElement("p");
    line.id = "told"; line.className = "waits"; line.setAttribute("role", "status");
    document.querySelector("main").prepend(line);
  }
  line.textContent = words;
};
const post = ({ action, whole, fields }) => {
  const body = whole ? new FormData() : new URLSearchParams();
  for (const [name, value] of fields) body.append(name, value);
  return fetch(action, { method: "POST", body });
};

for (const form of document.querySelectorAll("form[data-draft]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = form.querySelector("button:not([type=button])");
    const draft = { token: form.dataset.draft, action: form.action,
      whole: form.enctype.startsWith("multipart"), fields: [...new FormData(form)] };
    button.disabled = true;
    let answer;
    try {
      answer = await post(draft);
    } catch {
      button.disabled = false;
      try {
        await drafts("readwrite", (kept) => kept.put(draft));
        say("No connection. This is kept in the phone and sent once there is one.");
      } catch {
        say("No connection, and this browser keeps nothing: leave the page open, and save again later.");
      }
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
  let waiting;
  try { waiting = await drafts("readonly", (kept) => kept.getAll()); } catch { return; }
  for (const draft of waiting) {
    let answer;
    try { answer = await post(draft); } catch { return; }
    if (answer.status === 401) { say("Something is kept in the phone to be sent: pair it again."); return; }
    if (answer.status >= 500) continue;
    await drafts("readwrite", (kept) => kept.delete(draft.token));
    if (answer.redirected) { say("What was kept in the phone has been sent."); continue; }
    // a question, or something was written meanwhile: the grower decides
    const form = document.createElement("form");
    form.method = "post"; form.action = draft.action;
    for (const [name, value] of draft.fields) {
      if (typeof value !== "string") continue; // its photo has arrived already
      const field = document.createElement("input");
      field.type = "hidden"; field.name = name; field.value = value; form.append(field);
    }
    document.body.append(form); form.submit();
    return;
  }
};
window.addEventListener("online", send);
if (navigator.onLine) send();
