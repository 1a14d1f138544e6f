// A reader or a punch at this computer's serial port, where the browser has Web Serial.
// Without it, or without this file, nothing of this is shown; the commands `read` and `punch` do
// the same, and more.
"use strict";
{
  const DC1 = 0x11;
  const DC3 = 0x13;
  const PITCH_MM = 2.54;
  const TICK_MS = 50;
  const SETTLE_MS = 1000;
  const TAIL = 8;

  const MEANINGS = {
    BreakError: "a break on the line",
    FramingError: "a framing error",
    ParityError: "a parity error",
    BufferOverrunError: "frames were lost: the browser's buffer ran over",
  };

  const pause = (ms) => new Promise((done) => setTimeout(done, ms));
  const counted = (number) => number.toLocaleString("en");
  const TENTHS = { minimumFractionDigits: 1, maximumFractionDigits: 1 };
  const millimetres = (frames) => `${(frames * PITCH_MM).toLocaleString("en", TENTHS)} mm`;
  const measured = (frames) => `${counted(frames)} frames, ${millimetres(frames)}`;

  // What a section of the page offers: its fields, its buttons, and where it tells of itself.
  class Place {
    constructor(section) {
      this.section = section;
      this.stopped = false;
      section.hidden = false;
      this.button("start").addEventListener("click", () => this.run());
      this.button("stop").addEventListener("click", () => this.stop());
      window.addEventListener("beforeunload", (event) => {
        if (this.running) event.preventDefault();
      });
    }
    button(act) {
      return this.section.querySelector(`[data-act=${act}]`);
    }
    field(name) {
      return this.section.querySelector(`[data-of=${name}]`);
    }
    number(name) {
      return Math.max(0, Number(this.field(name).value) || 0);
    }
    show(what, words) {
      this.section.querySelector(`[data-show=${what}]`).textContent = words;
    }
    stop() {
      this.stopped = true;
    }
    async open(bufferSize) {
      const port = await navigator.serial.requestPort();
      await port.open({
        baudRate: this.number("baud"),
        dataBits: Number(this.field("bits").value),
        parity: this.field("parity").value,
        stopBits: Number(this.field("stop").value),
        flowControl: this.field("flow").value === "rts-cts" ? "hardware" : "none",
        bufferSize,
      });
      return port;
    }
    async run() {
      this.stopped = false;
      this.running = true;
      this.button("start").hidden = true;
      this.button("stop").hidden = false;
      this.show("news", "");
      this.show("count", "");
      let port = null;
      try {
        await this.prepare();
        port = await this.open(this.bufferSize);
        await this.work(port);
      } catch (error) {
        this.show("news", refused(error));
      } finally {
        await port?.close().catch(() => {});
        this.running = false;
        this.button("start").hidden = false;
        this.button("stop").hidden = true;
      }
    }
    // The most frames a second: a start bit, data bits, perhaps parity, stop bits for each.
    carries() {
      const parity = this.field("parity").value === "none" ? 0 : 1;
      const bits = 1 + Number(this.field("bits").value) + parity + Number(this.field("stop").value);
      return this.number("baud") / bits;
    }
    async prepare() {}
  }

  function refused(error) {
    if (error.name === "NotFoundError") return "No port was chosen; nothing was started.";
    if (error.name === "InvalidStateError") return "The port is open already.";
    if (error.name === "NetworkError")
      return "The port could not be opened: another program has it, or you may not use it.";
    if (error.name === "SecurityError") return "This page may not use serial ports.";
    return error.message;
  }

  async function give(port, bytes) {
    const writer = port.writable.getWriter();
    try {
      await writer.write(Uint8Array.from(bytes));
    } finally {
      writer.releaseLock();
    }
  }

  class Reading extends Place {
    bufferSize = 16384;

    constructor(section) {
      super(section);
      this.button("use").addEventListener("click", () => this.use());
    }
    async prepare() {
      await this.askLeave();
      if (this.pieces?.length && !this.used && !confirm("What came in before is thrown away. Read anew?"))
        throw new Error("What came in is still here.");
      this.pieces = [];
      this.count = 0;
      this.blanks = 0;
      this.content = false;
      this.used = false;
      this.ending = "";
      this.last = null;
      this.deadline = Infinity;
      this.button("use").hidden = true;
      this.section.querySelector("[data-show=faults]").replaceChildren();
    }
    // A tape that must not be run is not read: the archive is asked before the port is opened.
    async askLeave() {
      const number = document.getElementById("file").form.elements.tape?.value.trim();
      if (!number) return;
      const cannot = `Whether tape ${number} may be run cannot be asked now; nothing was started.`;
      const answer = await fetch(`/api/v1/tapes/${encodeURIComponent(number)}/running`).catch(() => null);
      if (answer?.status === 404) return;
      if (!answer?.ok) throw new Error(cannot);
      const told = await answer.json();
      if (!told.may_run)
        throw new Error(`${told.warnings.join(" ")} An archivist can allow one reading on the page of the tape.`);
    }
    async work(port) {
      const control = this.field("control").checked;
      if (control) await give(port, [DC1]);
      this.show("news", "Reading. Start the reader if it does not start by itself.");
      await this.follow(port, control);
      this.show("count", "");
      this.finish();
    }
    // A damaged frame ends a stream, and the port has another; one that has none is gone.
    async follow(port, control) {
      while (port.readable && performance.now() < this.deadline) {
        const reader = port.readable.getReader();
        const watch = setInterval(() => this.watch(port, reader, control), TICK_MS);
        try {
          for (let got = await reader.read(); !got.done; got = await reader.read()) this.take(got.value);
          break;
        } catch (error) {
          this.fault(error);
        } finally {
          clearInterval(watch);
          reader.releaseLock();
        }
      }
      if (!this.ending) this.ending = "the line is gone";
    }
    take(bytes) {
      this.pieces.push(bytes);
      this.last = performance.now();
      this.count += bytes.length;
      for (const frame of bytes) {
        this.blanks = frame ? 0 : this.blanks + 1;
        this.content ||= frame !== 0;
      }
    }
    watch(port, reader, control) {
      this.show("count", measured(this.count));
      const now = performance.now();
      if (!this.ending && (this.ending = this.whyStop(now))) {
        this.deadline = control ? now + SETTLE_MS : now;
        if (control) give(port, [DC3]).catch(() => {});
      }
      if (now >= this.deadline) reader.cancel().catch(() => {});
    }
    whyStop(now) {
      const trailer = this.number("trailer");
      const quiet = this.number("quiet") * 1000;
      if (this.stopped) return "stopped by hand";
      if (trailer && this.content && this.blanks >= trailer) return "trailer";
      if (quiet && this.last !== null && now - this.last >= quiet) return "quiet line";
      return "";
    }
    fault(error) {
      if (!(error.name in MEANINGS)) {
        this.ending ||= "the line is gone";
        this.deadline = 0;
      }
      const told = document.createElement("li");
      const at = `frame ${counted(this.count)} (${millimetres(this.count)})`;
      told.textContent = `${at}: ${MEANINGS[error.name] ?? error.message}`;
      this.section.querySelector("[data-show=faults]").append(told);
    }
    finish() {
      if (!this.count) {
        this.show("news", `Nothing came in: ${this.ending}.`);
      } else if (this.ending === "trailer" || (this.ending === "quiet line" && this.endsInTrailer())) {
        this.show("news", `Read to the end (${this.ending}): ${measured(this.count)}.`);
        this.use();
      } else {
        this.show("news", `It ended early (${this.ending}): ${measured(this.count)}. Use it as it is, or read the tape again.`);
        this.button("use").hidden = false;
      }
    }
    endsInTrailer() {
      if (!this.number("trailer")) return true;
      const tail = this.frames().slice(-TAIL);
      return tail.length === TAIL && tail.every((frame) => frame === tail[0]);
    }
    frames() {
      const all = new Uint8Array(this.count);
      let at = 0;
      for (const piece of this.pieces) {
        all.set(piece, at);
        at += piece.length;
      }
      return all;
    }
    use() {
      const picker = document.getElementById("file");
      const now = new Date();
      const two = (number) => String(number).padStart(2, "0");
      const day = [now.getFullYear(), two(now.getMonth() + 1), two(now.getDate())];
      const time = [now.getHours(), now.getMinutes(), now.getSeconds()].map(two);
      const readOn = picker.form.elements.read_on;
      if (readOn && !readOn.value) readOn.value = day.join("-");
      const file = new File([this.frames()], `read-${day.join("")}T${time.join("")}.bin`);
      const held = new DataTransfer();
      held.items.add(file);
      picker.files = held.files;
      picker.dispatchEvent(new Event("change", { bubbles: true }));
      this.used = true;
      this.button("use").hidden = true;
    }
  }

  class Punching extends Place {
    bufferSize = 64;

    async prepare() {
      if (!this.field("ready").checked) throw new Error("Say first that the punch is ready.");
      if (this.number("rate") > this.carries())
        throw new Error(`The line carries at most ${this.carries().toFixed(1)} frames a second: lower them, or raise the baud at both ends.`);
      const frames = await this.fetched();
      const from = this.number("from");
      const overlap = this.number("overlap");
      const leader = this.number("leader");
      if (from >= frames.length || overlap > from) throw new Error("There are no such frames.");
      if (from && !overlap && !leader)
        throw new Error("Say how the pieces meet: frames before it once more, or a fresh leader.");
      this.start = from - overlap;
      this.leader = leader;
      this.data = new Uint8Array(leader + frames.length - this.start);
      this.data.set(frames.subarray(this.start), leader);
      this.held = false;
      this.over = false;
      this.sent = 0;
    }
    async fetched() {
      const answer = await fetch(this.section.dataset.frames);
      if (!answer.ok) throw new Error(`The archive answered ${answer.status}.`);
      const frames = new Uint8Array(await answer.arrayBuffer());
      const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", frames));
      const found = Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
      if (found !== this.section.dataset.sha256)
        throw new Error(`The frames have the SHA-256 ${found}, not that of this punching.`);
      return frames;
    }
    async work(port) {
      this.show("news", "Punching.");
      const listening = this.listen(port);
      let ending = "";
      try {
        ending = await this.feed(port);
      } catch (error) {
        ending = `the line is gone: ${error.message}`;
      } finally {
        this.over = true;
        await this.listener?.cancel().catch(() => {});
        await listening;
      }
      this.show("count", "");
      const next = this.start + Math.max(0, this.sent - this.leader);
      this.show(
        "news",
        ending
          ? `It ended early (${ending}): ${this.told()}. The next is frame ${counted(next)}; look at the tape for the last whole one.`
          : `Done: ${this.told()}.`,
      );
    }
    told() {
      return `${measured(this.sent)} of ${counted(this.data.length)} given to the port`;
    }
    async feed(port) {
      const rate = this.number("rate") || 10;
      const portion = Math.max(1, Math.ceil(rate / 10));
      let credit = 0;
      let then = performance.now();
      while (this.sent < this.data.length) {
        if (this.stopped) return "stopped by hand";
        const now = performance.now();
        credit = this.held ? 0 : Math.min(credit + ((now - then) * rate) / 1000, portion + 1);
        then = now;
        const room = Math.min(Math.floor(credit), portion);
        if (room && !this.held) {
          const piece = this.data.subarray(this.sent, this.sent + room);
          await give(port, piece);
          this.sent += piece.length;
          credit -= piece.length;
        } else {
          await pause(Math.min(TICK_MS, 1000 / rate));
        }
        this.show("count", this.held ? `${this.told()}; the punch holds the line` : this.told());
      }
      return "";
    }
    // DC3 holds and DC1 frees, with or without a parity hole.
    async listen(port) {
      const obeyed = this.field("flow").value === "xon-xoff";
      while (port.readable && !this.over) {
        this.listener = port.readable.getReader();
        try {
          for (let got = await this.listener.read(); !got.done; got = await this.listener.read())
            for (const byte of got.value) if (obeyed) this.heed(byte & 0x7f);
          return;
        } catch (error) {
          if (!(error.name in MEANINGS)) return;
        } finally {
          this.listener.releaseLock();
        }
      }
    }
    heed(character) {
      if (character === DC3) this.held = true;
      if (character === DC1) this.held = false;
    }
  }

  if ("serial" in navigator) {
    for (const section of document.querySelectorAll("[data-station]")) {
      section.dataset.station === "read" ? new Reading(section) : new Punching(section);
    }
  }
}
