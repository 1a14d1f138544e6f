// Upload with a progress bar for each file. Without this file the form sends them all at once.
"use strict";

const form = document.getElementById("upload");
const drop = document.getElementById("drop");
const picker = document.getElementById("file");
const queue = document.getElementById("queue");
const news = document.getElementById("upload-news");
const limit = Number(form.dataset.limit);
const AT_ONCE = 2;

const waiting = [];
let sending = 0;

document.documentElement.classList.add("scripted");
form.querySelector(".without-script").hidden = true;
picker.required = false;

form.addEventListener("submit", (event) => {
  event.preventDefault();
  add(picker.files);
});
picker.addEventListener("change", () => add(picker.files));

for (const kind of ["dragenter", "dragover"]) {
  drop.addEventListener(kind, (event) => {
    event.preventDefault();
    drop.classList.add("over");
  });
}
for (const kind of ["dragleave", "drop"]) {
  drop.addEventListener(kind, () => drop.classList.remove("over"));
}
drop.addEventListener("drop", (event) => {
  event.preventDefault();
  add(event.dataTransfer.files);
});
document.addEventListener("paste", (event) => add(event.clipboardData?.files ?? []));
// A file dropped beside the field must not replace the page.
for (const kind of ["dragover", "drop"]) {
  document.addEventListener(kind, (event) => event.preventDefault());
}

function add(files) {
  for (const file of Array.from(files)) {
    const row = rowFor(file);
    queue.append(row.element);
    if (file.size > limit) {
      reject(row, `It has ${file.size.toLocaleString("en")} bytes; the limit is ${limit.toLocaleString("en")}.`);
    } else {
      waiting.push(row);
    }
  }
  picker.value = "";
  next();
}

function next() {
  while (sending < AT_ONCE && waiting.length) send(waiting.shift());
}

function rowFor(file) {
  const element = document.createElement("li");
  const name = document.createElement("span");
  const state = document.createElement("span");
  const bar = document.createElement("progress");
  name.textContent = `${file.name}, ${file.size.toLocaleString("en")} bytes`;
  state.textContent = "waiting";
  bar.max = 1;
  bar.value = 0;
  bar.setAttribute("aria-label", `Progress of ${file.name}`);
  element.append(name, state, bar);
  return { file, element, state, bar };
}

function send(row) {
  sending += 1;
  const body = new FormData(form);
  body.delete("file");
  body.append("file", row.file);
  const request = new XMLHttpRequest();
  row.request = request;
  row.state.textContent = "sending";
  row.bar.hidden = false;
  const cancel = button(row, "Cancel", () => request.abort());
  request.upload.addEventListener("progress", (event) => {
    if (!event.lengthComputable) return;
    row.bar.value = event.loaded / event.total;
    if (event.loaded === event.total) {
      row.state.textContent = "checking";
      row.bar.removeAttribute("value");
    }
  });
  request.addEventListener("load", () => answered(row, request));
  request.addEventListener("error", () => reject(row, "The archive could not be reached.", true));
  request.addEventListener("abort", () => reject(row, "You cancelled it.", true));
  request.addEventListener("loadend", () => {
    cancel.remove();
    sending -= 1;
    next();
  });
  request.open("POST", form.action);
  request.setRequestHeader("HX-Request", "true");
  request.send(body);
}

function answered(row, request) {
  const answer = new DOMParser().parseFromString(request.responseText, "text/html");
  const result = answer.querySelector(".result");
  if (!result) {
    const told = answer.querySelector(".problem .lead")?.textContent;
    reject(row, told ?? `The archive answered ${request.status}.`, true);
    return;
  }
  const state = result.dataset.state;
  if (state === "rejected") {
    const told = Array.from(result.querySelectorAll("p"), (each) => each.textContent);
    reject(row, told.join(" "));
    return;
  }
  row.element.remove();
  const shown = document.importNode(result, true);
  document.getElementById(shown.id)?.remove();
  document.getElementById("results").prepend(shown);
  htmx.process(shown);
  say(`${row.file.name}: ${state}`);
  remember();
}

function reject(row, reason, again = false) {
  row.state.textContent = "rejected";
  row.bar.hidden = true;
  row.element.querySelector(".reason")?.remove();
  const told = document.createElement("p");
  told.className = "reason wrong";
  told.textContent = reason;
  row.element.append(told);
  if (again) {
    const retry = button(row, "Try again", () => {
      retry.remove();
      told.remove();
      row.state.textContent = "waiting";
      waiting.push(row);
      next();
    });
  }
  say(`${row.file.name}: rejected. ${reason}`);
}

function button(row, words, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "action";
  made.textContent = words;
  made.addEventListener("click", act);
  row.element.append(made);
  return made;
}

function say(words) {
  news.textContent = words;
}

// The address names what was stored, so that the page can be left and come back to.
function remember() {
  const stored = document.querySelectorAll("#results [data-image]");
  const query = new URLSearchParams(Array.from(stored, (each) => ["image", each.dataset.image]));
  history.replaceState(null, "", `${location.pathname}?${query}`);
}
