// What the page knows, and the socket over which it asks for changes.

export const desk = {
  doc: null, faults: [], checked: false, shape: null, jobs: null, offers: null,
  chosen: null,  // { kind, index, end, wall } or { wall }
  waiting: false,  // an edit is on its way: what was found of the draft before it is out of date
  alive: false,
  page: Math.random().toString(36).slice(2), sent: 0,  // this page, and how many edits it has sent
};

const ears = new Map();

export function on(kind, hear) {
  ears.set(kind, [...(ears.get(kind) || []), hear]);
}

export function tell(kind, what) {
  for (const hear of ears.get(kind) || []) hear(what);
}

export function choose(thing) {
  desk.chosen = thing;
  tell("chosen", thing);
}

let socket = null;

export function ask(what) {
  if (socket === null || socket.readyState !== WebSocket.OPEN) {
    tell("refused", { at: "", says: "The server does not answer. The draft is kept on disk." });
    return;
  }
  socket.send(JSON.stringify(what));
}

// at names the place where a refusal is to be said.
export function edit(change, says, at = "") {
  desk.waiting = true;
  tell("waiting");
  desk.sent += 1;
  ask({ do: "edit", edit: change, says, at, of: [desk.page, desk.sent] });
}

const HEARD = {
  go() { location.reload(); },  // another page stands here now
  document(told) {
    // An answer to an edit that others of ours have followed would take things back for a moment.
    const [page, number] = told.answers;
    if (page === desk.page && number < desk.sent) return;
    desk.waiting = false;
    if (desk.doc === null || told.number !== desk.doc.number) {
      desk.checked = false;
      desk.faults = told.faults;
    }
    // A draft that cannot be read has no net of its own: that of the draft before stays in sight.
    if (told.net === null && told.rows.box !== null) told.net = desk.doc?.net ?? null;
    desk.doc = told;
    tell("document", told);
    tell("faults");
  },
  // Of a mesh the net comes once its mesh was read.
  net(told) {
    if (told.number !== desk.doc.number) return;
    desk.doc.net = told.net;
    tell("document", desk.doc);
  },
  faults(told) {
    if (told.number !== desk.doc.number) return;
    desk.checked = true;
    desk.faults = told.faults;
    tell("faults");
  },
  refused(told) {
    desk.waiting = false;
    tell("refused", told);
  },
};

export function open() {
  socket = new WebSocket(`ws://${location.host}/desk`);
  socket.binaryType = "arraybuffer";
  socket.addEventListener("open", () => { desk.alive = true; tell("alive"); });
  socket.addEventListener("message", ({ data }) => {
    if (typeof data !== "string") { readLight(data); return; }
    const told = JSON.parse(data);
    if (told.is in HEARD) HEARD[told.is](told);
    else {
      desk[told.is] = told;
      tell(told.is, told);
    }
  });
  socket.addEventListener("close", () => {
    desk.alive = false;
    tell("alive");
    setTimeout(open, 1000);
  });
}

// A picture of the light: a length, a record, then the codes. None of an older draft is let through.
function readLight(data) {
  const size = new DataView(data).getUint32(0, true);
  const told = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 4, size)));
  if (desk.waiting || desk.doc === null || told.number !== desk.doc.number) return;
  const body = data.slice(4 + size), count = body.byteLength / 3;
  told.irradiance = new Uint16Array(body, 0, count);
  told.errors = new Uint8Array(body, 2 * count);
  tell("light", told);
}
