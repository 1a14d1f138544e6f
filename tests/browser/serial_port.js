// Stands in for the hardware: a serial port with a scripted reader or punch at its other end.
// `script` is put in before: pieces to send (arrays of frames, or the name of an error), whether
// they wait for DC1, and when the punch holds the line.
window.machine = {
  opened: null,
  closed: false,
  heard: [],
  script: { pieces: [], waits: false, hold: 0, ...window.serialScript },
  free() {
    this.send([0x91]);
  },
};
{
  const machine = window.machine;
  let stream = null;
  let controller = null;
  let started = false;

  const fresh = () => {
    stream = new ReadableStream({ start: (given) => (controller = given) });
  };
  machine.send = (frames) => controller.enqueue(Uint8Array.from(frames));

  // One piece for each turn of the page's loop, so that none is lost with a stream that breaks.
  const play = async () => {
    if (started) return;
    started = true;
    for (const piece of machine.script.pieces) {
      await new Promise((done) => setTimeout(done, 1));
      if (piece === "NetworkError") {
        const broken = controller;
        stream = null;
        broken.error(new DOMException("The device has been lost.", piece));
        return;
      }
      if (typeof piece === "string") {
        const broken = controller;
        fresh();
        broken.error(new DOMException("", piece));
      } else machine.send(piece);
    }
  };

  const write = (chunk) => {
    machine.heard.push(...chunk);
    if (chunk[0] === 0x11) play();
    const { hold } = machine.script;
    if (hold && machine.heard.length >= hold && !machine.held) {
      machine.held = machine.heard.length;
      machine.send([0x13]);
    }
  };

  const port = {
    async open(options) {
      machine.opened = options;
      machine.closed = false;
      fresh();
      this.writable = new WritableStream({ write });
      if (!machine.script.waits) setTimeout(play, 10);
    },
    get readable() {
      return stream;
    },
    async close() {
      machine.closed = true;
    },
  };
  Object.defineProperty(navigator, "serial", {
    configurable: true,
    value: {
      async requestPort() {
        if (machine.script.none) throw new DOMException("No port selected.", "NotFoundError");
        return port;
      },
    },
  });
}
