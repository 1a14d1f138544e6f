// The survey where the line is poor: each report is kept in the browser first, says that it is not
// sent yet, and is sent as soon as the archive answers. Its key makes the archive keep it once.
// Without this file the form is sent like any other.
"use strict";
{
  const form = document.getElementById("survey");
  const waiting = document.getElementById("waiting");
  const list = document.getElementById("waiting-list");
  const news = document.getElementById("waiting-news");
  const number = document.getElementById("tape");
  const told = document.getElementById("tape-told");
  const AGAIN_MS = 30000;
  let sending = false;
  let again = false;

  // The store of the browser: one row a report, by its key; photos are kept as they are.
  const opened = new Promise((done, fail) => {
    const asked = indexedDB.open("feedhole-survey", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("reports", { keyPath: "key" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
  async function store(mode, act) {
    const database = await opened;
    return new Promise((done, fail) => {
      const work = database.transaction("reports", mode);
      const asked = act(work.objectStore("reports"));
      work.oncomplete = () => done(asked.result);
      work.onerror = work.onabort = () => fail(work.error);
    });
  }
  const all = () => store("readonly", (reports) => reports.getAll());
  const put = (report) => store("readwrite", (reports) => reports.put(report));
  const drop = (key) => store("readwrite", (reports) => reports.delete(key));

  function today() {
    const now = new Date();
    const two = (part) => String(part).padStart(2, "0");
    return [now.getFullYear(), two(now.getMonth() + 1), two(now.getDate())].join("-");
  }
  function newKey() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }
  function fresh() {
    form.reset();
    number.value = "";
    for (const each of form.querySelectorAll("input[type=radio]")) each.checked = false;
    for (const each of form.querySelectorAll("input[name=defects], .grave input")) each.checked = false;
    form.elements.key.value = newKey();
    form.elements.checked_on.value = today();
    told.textContent = "";
    number.focus();
  }
  if (!form.elements.key.value) form.elements.key.value = newKey();
  if (!form.elements.checked_on.value) form.elements.checked_on.value = today();

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const fields = Array.from(new FormData(form)).filter(
      ([name, value]) => name !== "csrf" && (typeof value === "string" || value.size),
    );
    const report = { key: form.elements.key.value, tape: number.value.trim(), at: Date.now(), fields, fault: "" };
    try {
      await put(report);
    } catch {
      form.submit();  // Without a store of its own the browser sends the form itself.
      return;
    }
    fresh();
    await show();
    send();
  });

  async function show(words = "") {
    const held = await all();
    waiting.hidden = !held.length;
    const many = `${held.length} report${held.length === 1 ? " is" : "s are"} not yet sent.`;
    news.textContent = held.length ? `${many} ${words}` : "";
    list.replaceChildren(...held.sort((one, other) => one.at - other.at).map(row));
  }
  function row(report) {
    const element = document.createElement("li");
    const state = report.fields.find(([name]) => name === "state")?.[1] ?? "";
    const time = new Date(report.at).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
    element.textContent = `${report.tape}, ${state}, ${time}. ${report.fault} `;
    const away = document.createElement("button");
    away.type = "button";
    away.className = "plain";
    away.textContent = `Throw the report on ${report.tape} away`;
    away.addEventListener("click", async () => {
      if (!confirm(`Throw the report on ${report.tape} away? It was not sent.`)) return;
      await drop(report.key);
      show();
    });
    element.append(away);
    return element;
  }

  // The secret of the forms is asked anew each time: it may be another one since the page was kept.
  async function secret() {
    const answer = await fetch("/survey", { headers: { Accept: "text/html" }, cache: "no-store" });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    return page.querySelector("#survey input[name=csrf]")?.value ?? "";
  }
  // Whoever asks while it is being tried means: once more after that.
  async function send() {
    if (sending) {
      again = true;
      return;
    }
    sending = true;
    try {
      const held = await all();
      if (!held.length) return;
      const csrf = await secret();
      if (!csrf) {
        await show("Sign in, and they are sent.");
        return;
      }
      for (const report of held) await sendOne(report, csrf);
      await show();
    } catch {
      await show("The archive cannot be reached; they are sent when it can.");
    } finally {
      sending = false;
      if (again) {
        again = false;
        send();
      }
    }
  }
  async function sendOne(report, csrf) {
    const body = new FormData();
    body.append("csrf", csrf);
    for (const [name, value] of report.fields) body.append(name, value);
    const answer = await fetch("/survey", { method: "POST", body, headers: { "HX-Request": "true" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const outcome = page.getElementById("outcome");
    if (outcome?.dataset.state === "logged") {
      await drop(report.key);
      document.getElementById("outcome").replaceWith(document.importNode(outcome, true));
      return;
    }
    if (answer.status >= 500 || answer.status === 429) throw new Error("later");
    const said = outcome?.querySelector(".refusal") ?? page.querySelector(".problem .lead");
    report.fault = said ? `Refused: ${said.textContent.replace(/\s+/g, " ").trim()}` : `The archive answered ${answer.status}.`;
    await put(report);
  }
  document.getElementById("send-now").addEventListener("click", send);
  window.addEventListener("online", send);
  setInterval(send, AGAIN_MS);

  // What the archive says of the number, where it can be asked.
  number.addEventListener("change", async () => {
    const asked = number.value.trim();
    told.textContent = "";
    if (!asked) return;
    const answer = await fetch(`/api/v1/tapes/${encodeURIComponent(asked)}/running`).catch(() => null);
    if (number.value.trim() !== asked || !answer) return;
    if (answer.status === 404) told.textContent = `No tape ${asked} is known.`;
    if (!answer.ok) return;
    const tape = await answer.json();
    told.textContent = tape.title + (tape.do_not_run ? " – do not run" : "");
  });

  // The code on a label leads to the page of its tape: the number is what stands last in it.
  function numberIn(text) {
    const found = /\/tapes\/([0-9][0-9A-Za-z.]*)$/.exec(text);
    return found ? found[1] : "";
  }
  async function scan() {
    const viewer = document.getElementById("viewer");
    const detector = new BarcodeDetector({ formats: ["qr_code"] });
    let stream = null;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      viewer.srcObject = stream;
      viewer.hidden = false;
      await viewer.play();
      const until = Date.now() + 30000;
      while (Date.now() < until) {
        const codes = await detector.detect(viewer);
        const read = codes.map((code) => numberIn(code.rawValue)).find(Boolean);
        if (read) {
          number.value = read;
          number.dispatchEvent(new Event("change"));
          return;
        }
        await new Promise((done) => setTimeout(done, 150));
      }
      told.textContent = "No label was read; type the number.";
    } catch {
      told.textContent = "The camera cannot be used; type the number.";
    } finally {
      for (const track of stream?.getTracks() ?? []) track.stop();
      viewer.srcObject = null;
      viewer.hidden = true;
    }
  }
  if ("BarcodeDetector" in window && navigator.mediaDevices) {
    const button = document.getElementById("scan");
    button.hidden = false;
    button.addEventListener("click", scan);
  }
  if ("serviceWorker" in navigator) {
    navigator.serviceWorker
      .register("/survey-worker.js", { scope: "/survey" })
      .then(() => navigator.serviceWorker.ready)
      .then(() => (document.getElementById("survey-kept").hidden = false))
      .catch(() => {});
  }
  show().then(send, () => {});
}
