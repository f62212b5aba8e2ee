(() => {
"use strict";
/* The page works without this script: what is held and why is in the HTML itself.
   Text from records only ever enters the page as text (textContent), never as markup. */

const page = JSON.parse(document.getElementById("page-data").textContent);
const NS = "http://www.w3.org/2000/svg";
const find = (selector, root = document) => root.querySelector(selector);
const all = (selector, root = document) => [...root.querySelectorAll(selector)];
const EDGES = ["top", "right", "bottom", "left"];
const SIDES = ["top left", "top right", "bottom right", "bottom left"];

function make(tag, given = {}, ...inside) {
  const svg = ["svg", "path", "circle", "text", "g"].includes(tag);
  const node = svg ? document.createElementNS(NS, tag) : document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (value === true) node.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) node.setAttribute(name, value);
  }
  node.append(...inside.filter((each) => each !== null && each !== undefined));
  return node;
}

/* ---- what the browser keeps between visits (not every browser keeps it for files) ---- */
const SHELF = `glassine corrections of ${page.batch}`;
function recall() {
  try { return JSON.parse(localStorage.getItem(SHELF)) || {}; } catch { return {}; }
}
function remember() {
  try { localStorage.setItem(SHELF, JSON.stringify({ edits, bases, by: author })); return true; } catch { return false; }
}

/* ---- pieces of the page, fetched by a script element: that works from the disk too ---- */
const fetched = new Map();
function piece(name) {
  if (!fetched.has(name)) {
    const part = {};
    part.promise = new Promise((resolve, reject) => { part.resolve = resolve; part.reject = reject; });
    fetched.set(name, part);
    const missing = () => { fetched.delete(name); script.remove(); part.reject(new Error(`${name} is missing beside this page`)); };
    const script = make("script", { src: name, onload: () => { script.remove(); part.reject(new Error(`${name} is not of this page`)); }, onerror: missing });
    document.head.append(script);
  }
  return fetched.get(name).promise;
}
const numbered = (kind, number) => `${kind}-${String(number).padStart(4, "0")}.js`;
window.glassineDetails = (number, items) => fetched.get(numbered("details", number))?.resolve(items);
/* Long ones come as text of JSON. */
window.glassineRows = (rows) => fetched.get("rows.js")?.resolve(JSON.parse(rows));
window.glassineList = (number, part) => fetched.get(numbered("list", number))?.resolve(JSON.parse(part));

/* ---- the list: filter, search, order, pages, keyboard ---- */
/* A small batch is in the page as a whole. Of a large one the page has the first cards alone; the others, what
   was decided and the queue come in pieces, once somebody asks for more than the first screen. */
const list = find("#cards");
let cards = all(":scope > li", list).map((node, number) => ({
  node, number, item: find("b", node).textContent, state: node.dataset.s, material: node.dataset.m,
  decay: Number(node.dataset.d ?? -1), sure: Number(node.dataset.c || 0),
  title: find(".t", node).textContent, text: node.textContent.toLowerCase(),
}));
let byItem = new Map(cards.map((card) => [card.item, card]));
let shown = cards, firstShown = 0;
let whole = page.pieces === 0, coming = null;
function listed() {
  if (whole) return Promise.resolve();
  find("#shown").textContent = `the first ${cards.length} of ${page.count}; the others are being read`;
  coming ||= readList().catch((problem) => {
    coming = null;
    find("#shown").textContent = `the first ${cards.length} of ${page.count}; the others cannot be shown: ${problem.message}`;
    throw problem;
  });
  return coming;
}
async function readList() {
  const read = await Promise.all(Array.from({ length: page.pieces }, (_, number) => piece(numbered("list", number))));
  for (let number = 0; number < page.pieces; number++) fetched.delete(numbered("list", number));
  const found = read.flatMap((part) => part.cards).map(cardOf);
  if (found.length !== page.count) throw new Error("files of two reports lie beside this page");
  cards = found;
  byItem = new Map(cards.map((card) => [card.item, card]));
  shown = cards;
  if (!server) page.standing = read[0].standing;
  page.withdraw = read[0].withdraw;
  page.queue = read[0].queue;
  queue = queued();
  whole = true;
  dropUnknown();
  if (dropped.length) drawSaveBar(droppedWords());
  filterCards();
}
function cardOf(told, number) {
  const [item, state, material, decay, sure, title, facts] = told;
  return { told, number, item, state, material, decay: decay ?? -1, sure, title, text: `${item}${title}${facts}${state}`.toLowerCase(), node: null };
}
/* The nodes of cards stay where they are and show other cards: what is taken out and put in again, ten thousand times,
   lies in the browser's memory until it clears up. */
function fillCard(node, card) {
  const [item, state, , , , title, facts, small, width, height, outlines] = card.told;
  const { link, image, drawn, none, name, words, about, badge } = node.parts;
  node.className = item in edits ? "changed" : "";
  link.setAttribute("href", `#item=${item}`);
  image.hidden = !small;
  if (small) none.remove(); else image.after(none);
  if (small) image.setAttribute("src", small); else image.removeAttribute("src");
  const edges = small && outlines ? outlines.split("|").map((d) => [d.replace("?", ""), d.startsWith("?")]) : [];
  drawn.setAttribute("viewBox", `0 0 ${width || 1} ${height || 1}`);
  while (drawn.children.length > 2 * edges.length) drawn.lastChild.remove();
  while (drawn.children.length < 2 * edges.length) drawn.append(make("path", { class: "halo" }), make("path"));
  edges.forEach(([d, unsure], at) => {
    drawn.children[2 * at].setAttribute("d", d);
    drawn.children[2 * at + 1].setAttribute("d", d);
    drawn.children[2 * at + 1].setAttribute("class", unsure ? "edge unsure" : "edge");
  });
  name.data = item; words.data = title; about.data = facts;
  badge.className = `state s-${state}`;
  badge.textContent = state;
  card.node = node;
}
function showCards(now) {
  if (!now.every((card) => card.told)) { list.replaceChildren(...now.map((card) => card.node)); return; }
  for (const node of [...list.children]) if (!node.parts) node.remove();
  while (list.children.length > now.length) list.lastChild.remove();
  while (list.children.length < now.length) list.append(blankCard());
  now.forEach((card, at) => fillCard(list.children[at], card));
}
function blankCard() {
  const image = make("img", { loading: "lazy", decoding: "async", alt: "" }), drawn = make("svg", { "aria-hidden": "true" }), none = make("i", {}, "no picture yet");
  const [name, words, about] = ["", "", ""].map((text) => document.createTextNode(text)), badge = make("span");
  const link = make("a", {}, make("span", { class: "pic" }, image, drawn, none), make("b", {}, name));
  const node = make("li", {}, link, make("span", { class: "t" }, words), make("span", { class: "m" }, about), badge);
  node.parts = { link, image, drawn, none, name, words, about, badge };
  return node;
}
const RANK = { held: 0, review: 1, pending: 2, waiting: 3, done: 4 };
const byId = new Intl.Collator(undefined, { numeric: true }).compare, byTitle = new Intl.Collator().compare;
const ORDERS = {
  n: (a, b) => a.number - b.number,
  item: (a, b) => byId(a.item, b.item),
  title: (a, b) => byTitle(a.title, b.title) || a.number - b.number,
  state: (a, b) => RANK[a.state] - RANK[b.state] || a.number - b.number,
  decay: (a, b) => b.decay - a.decay || a.number - b.number,
  confidence: (a, b) => a.sure - b.sure || a.number - b.number,
};

function filterCards() {
  if (!whole) { listed().catch(() => {}); return; }
  const words = find("#find").value.toLowerCase().split(/\s+/).filter(Boolean);
  const state = find("#by-state").value, material = find("#by-material").value;
  shown = cards.filter((card) => (!state || card.state === state) && (!material || card.material === material)
    && words.every((word) => card.text.includes(word)));
  shown.sort(ORDERS[find("#order").value]);
  find("#none").hidden = shown.length > 0;
  showFrom(0);
}
/* Only the cards of one page are in the document, and no more nodes than these need. */
let inPage = [];
function showFrom(first) {
  firstShown = Math.min(Math.max(first, 0), Math.max(0, Math.floor((shown.length - 1) / page.cards) * page.cards));
  const now = shown.slice(firstShown, firstShown + page.cards);
  for (const card of inPage) if (card.told) card.node = null;
  inPage = now;
  showCards(now);
  list.start = firstShown + 1;
  const last = firstShown + now.length, some = shown.length === cards.length ? `${cards.length}` : `${shown.length} of ${cards.length}`;
  find("#shown").textContent = shown.length > page.cards ? `${firstShown + 1} to ${last} of ${some}` : some;
  find("#pages").hidden = shown.length <= page.cards;
  find("#page-before").disabled = firstShown === 0;
  find("#page-after").disabled = last >= shown.length;
}
async function turnPage(by) {
  try { await listed(); } catch { return; }
  showFrom(firstShown + by * page.cards);
  find("#all").scrollIntoView();
  find("a", list)?.focus({ preventScroll: true });
}
find("#page-before").addEventListener("click", () => turnPage(-1));
find("#page-after").addEventListener("click", () => turnPage(1));
/* The card of an item, on the page that has it. */
function bringUp(at) {
  if (at < firstShown || at >= firstShown + page.cards) showFrom(Math.floor(at / page.cards) * page.cards);
  return shown[at].node;
}
let waitingToFilter = 0;
function filterSoon() { clearTimeout(waitingToFilter); waitingToFilter = setTimeout(filterCards, 5); }
function resetFilter() {
  find("#find").value = ""; find("#by-state").value = ""; find("#by-material").value = "";
  filterCards();
}
find(".tools").addEventListener("submit", (event) => event.preventDefault());
find("#find").addEventListener("input", filterSoon);
for (const id of ["#by-state", "#by-material", "#order"]) find(id).addEventListener("change", filterCards);
find("#reset").addEventListener("click", () => { resetFilter(); find("#find").focus(); });
all("input[name=view]").forEach((radio) => radio.addEventListener("change", () => list.classList.toggle("list", radio.value === "list" && radio.checked)));

const singleKeys = () => find("#single-keys").checked;
const typing = (node) => node.matches?.("input:not([type=radio]):not([type=checkbox]), textarea, select, [contenteditable]");

function columns() {
  const first = list.children[0]?.offsetTop;
  const row = [...list.children].findIndex((node) => node.offsetTop !== first);
  return row > 0 ? row : Math.max(1, list.children.length);
}
list.addEventListener("keydown", (event) => {
  const at = shown.findIndex((card) => card.node?.contains(document.activeElement));
  const step = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: columns(), ArrowUp: -columns() }[event.key];
  const next = event.key === "Home" ? 0 : event.key === "End" ? shown.length - 1 : step ? at + step : -1;
  if (at < 0 || next < 0 || next >= shown.length) return;
  event.preventDefault();
  find("a", bringUp(next)).focus();
});
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || typing(event.target) || !singleKeys()) return;
  if (dialog.open) {
    const actions = queueAt >= 0 && open ? queueKeys() : { n: () => step(1), p: () => step(-1), u: undo, s: toggleSnapping };
    const action = zoomed ? null : actions[event.key];
    if (action) { event.preventDefault(); action(); }
  } else if (event.key === "/") { event.preventDefault(); find("#find").focus(); }
});

/* ---- details, some items a file ---- */
async function detailOf(item) {
  await listed();
  const card = byItem.get(item);
  if (!card) throw new Error(`this report has no item ${item}`);
  return (await piece(numbered("details", Math.floor(card.number / page.size))))[card.number % page.size];
}

/* ---- edits: item -> correction, as corrections.yaml will hold it ---- */
const recalled = recall();
let edits = recalled.edits && typeof recalled.edits === "object" ? recalled.edits : {};
/* What stood when an item was first changed here: what others decide meanwhile is told from it. */
let bases = recalled.bases && typeof recalled.bases === "object" ? recalled.bases : {};
let author = typeof recalled.by === "string" ? recalled.by : "";
/* Decisions that the browser kept about items that this report has no more; they are said, not dropped in silence. */
const dropped = [];
function dropUnknown() {
  if (!whole) return;
  for (const item of Object.keys(edits)) if (!byItem.has(item) && !(item in page.standing)) { delete edits[item]; dropped.push(item); }
}
const droppedWords = () => dropped.length ? `What was decided here about ${dropped.join(", ")} was not saved, and this report has no such item any more.` : undefined;
dropUnknown();
const history = [];
const KEYS = ["corners", "rotate", "mirror", "polarity", "process", "exclude", "blank", "accept"];

const details = new Map(); /* of items that were opened */
function standing(item) {
  const known = page.standing[item] || { by: null, when: null, note: null, identity: null, frames: [] };
  return { ...known, frames: known.frames.map((entry) => fitted(details.get(item), entry)) };
}
/* A decision that the last night applied to another number, as it found the frames otherwise, is shown there; one
   that it held back carries `held`, which never leaves the page. */
function fitted(detail, entry) {
  const words = canonical(entry);
  for (const master of detail?.masters || []) {
    const ruling = (master.decided || []).find((each) => canonical(each.entry) === words);
    if (ruling && ruling.on === null) return { ...entry, held: true };
    if (ruling) return { ...entry, frame: ruling.on, seen: seenOf(master, ruling.on) };
  }
  return entry;
}
function canonical(value) {
  const sorted = (part) => Array.isArray(part) ? part.map(sorted) : part && typeof part === "object" ? Object.fromEntries(Object.keys(part).sort().map((key) => [key, sorted(part[key])])) : part;
  return JSON.stringify(sorted(value));
}
/* What a person sees of a frame, by which a later night finds it again whatever its number is then. */
function seenOf(master, n) {
  const frame = master.frames.find((each) => each.n === n);
  if (frame && !frame.seen) return undefined;
  const seen = { ...(frame?.seen || {}), ...(master.seen_sha256 ? { sha256: master.seen_sha256 } : {}) };
  return Object.keys(seen).length ? seen : undefined;
}
function withoutHeld({ held, ...entry }) { return entry; }
const correctionOf = (item) => edits[item] || standing(item);
function entryOf(correction, master, n) {
  return correction.frames.find((each) => !each.held && each.frame === n && (each.master === undefined || each.master === master));
}
function framesOf(detail, master) {
  const correction = correctionOf(detail.item);
  const frames = master.frames.map((frame) => ({ ...frame, ...wanted(entryOf(correction, master.path, frame.n)), found: frame }));
  for (const entry of correction.frames) {
    const here = entry.master === master.path || (entry.master === undefined && detail.masters.length === 1);
    if (here && !entry.held && entry.corners && !frames.some((frame) => frame.n === entry.frame)) {
      frames.push({ n: entry.frame, rotate: 0, mirror: false, polarity: "negative", process: "monochrome", exclude: false, blank: false, state: "ok", reasons: [], files: {}, measures: [], tiles: null, ...wanted(entry), found: null });
    }
  }
  return frames.sort((a, b) => a.n - b.n);
}
function wanted(entry) {
  return entry ? Object.fromEntries(KEYS.filter((key) => key in entry).map((key) => [key, entry[key]])) : {};
}
function keepHistory(item) {
  history.push({ item, before: structuredClone(correctionOf(item)), after: null, at: queueAt });
  if (history.length > 200) history.shift();
  countSeconds(item);
}
/* How long a person looked at what was decided in the queue, by item. */
let shownAt = 0;
const spent = {};
function countSeconds(item) {
  if (queueAt < 0) return;
  const now = performance.now();
  spent[item] = (spent[item] || 0) + (now - shownAt) / 1000;
  shownAt = now;
}
function edit(item, action) {
  keepHistory(item);
  const correction = structuredClone(correctionOf(item));
  action(correction);
  history[history.length - 1].after = structuredClone(correction);
  keep(item, correction);
}
/* Until the answer to what was sent is there, what stands is not known: an edit is kept then. */
function keep(item, correction, base = page.standing[item] || null) {
  if (!(item in edits)) bases[item] = structuredClone(base);
  if (!sending && same(correction, standing(item))) forget(item); else edits[item] = correction;
  afterEdit(item);
}
function forget(item) { delete edits[item]; delete bases[item]; contested.delete(item); }
function same(a, b) {
  const core = (each) => JSON.stringify([each.note || null, each.identity || null, each.frames]);
  return core(a) === core(b);
}
function setFrame(item, master, n, values) {
  edit(item, (correction) => {
    let entry = entryOf(correction, master, n);
    if (!entry) correction.frames.push(entry = { master, frame: n });
    const seen = seenOf(details.get(item).masters.find((each) => each.path === master), n);
    Object.assign(entry, values, { seen });
    if (!seen) delete entry.seen;
  });
}
function undo() {
  const last = history.pop();
  if (!last) { say("Nothing to undo."); return; }
  keep(last.item, last.before, last.after);
  if (queueAt >= 0 && last.at >= 0 && last.at !== queueAt) goQueue(last.at);
  else if (open && open.detail.item !== last.item && byItem.has(last.item)) location.hash = `item=${last.item}`;
  else redraw();
  say(`Undone in ${last.item}.`);
}
function afterEdit(item) {
  byItem.get(item)?.node?.classList.toggle("changed", item in edits);
  remember();
  drawSaveBar();
  saveAtOnce();
}

/* ---- geometry of a frame ---- */
const round = (value) => Math.round(value * 100) / 100;
function wrongShape(corners) {
  let turns = 0;
  for (let at = 0; at < 4; at++) {
    const [a, b, c] = [corners[at], corners[(at + 1) % 4], corners[(at + 2) % 4]];
    if ((b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0]) > 0) turns++;
  }
  return turns < 4;
}
const outline = (corners) => `M${corners.map((point) => point.join(" ")).join("L")}Z`;
const sideMiddle = (corners, side) => [0, 1].map((axis) => (corners[side][axis] + corners[(side + 1) % 4][axis]) / 2);
const middle = (corners) => [0, 1].map((axis) => corners.reduce((sum, point) => sum + point[axis], 0) / 4);

/* ---- the item's view ---- */
const dialog = find("#item");
const queued = () => page.queue.flatMap((group, number) => group.entries.map(([item, master, frame]) => ({ item, master, frame, group: number })));
let queue = queued();
let queueAt = -1; /* place in the queue; -1: the item was opened by itself */
let open = null; /* { detail, master, n, zoom, cameFrom } */
const live = make("p", { class: "skip", role: "status", "aria-live": "polite" });
function say(text) { live.textContent = text; }

async function show(item) {
  let detail;
  try { detail = await detailOf(item); } catch (problem) { alert(`${item} cannot be shown: ${problem.message}.`); return; }
  if (location.hash !== `#item=${encodeURIComponent(item)}` && location.hash !== `#item=${item}`) return;
  queueAt = -1;
  const asked = detail.reasons.find((reason) => reason.frame);
  openOn(detail, asked?.master, asked?.frame);
}
function openOn(detail, path, n) {
  const master = detail.masters.find((each) => each.path === path) || detail.masters.find((each) => each.frames.length) || detail.masters[0] || null;
  details.set(detail.item, detail);
  open = { detail, master, n: n ?? master?.frames[0]?.n ?? null, zoom: 1, drawing: false, cameFrom: open?.cameFrom || document.activeElement };
  if (!dialog.open) dialog.showModal();
  redraw(true);
}
function closeItem() {
  const item = open?.detail.item;
  open = null;
  if (dialog.open) dialog.close();
  history.length = 0;
  queueAt = -1;
  if (/^#(item|queue)=/.test(location.hash)) window.history.replaceState(null, "", location.pathname + location.search);
  document.body.append(saveBar);
  const at = shown.indexOf(byItem.get(item));
  if (at >= 0) find("a", bringUp(at)).focus();
}
function step(by) {
  if (!open) return;
  if (queueAt >= 0) { goQueue((queueAt + by + queue.length) % queue.length); return; }
  const at = shown.findIndex((card) => card.item === open.detail.item);
  const next = shown[(at + by + shown.length) % shown.length];
  if (next) location.hash = `item=${encodeURIComponent(next.item)}`;
}
dialog.addEventListener("cancel", (event) => { event.preventDefault(); if (zoomed) closeZoom(); else closeItem(); });
dialog.addEventListener("close", () => { if (open) closeItem(); });
window.addEventListener("resize", () => { if (open) drawStage(); });

function redraw(fresh = false) {
  if (!open) return;
  const { detail } = open;
  const focus = fresh ? null : document.activeElement?.dataset?.keep;
  const scroll = fresh ? 0 : find(".panel", dialog)?.scrollTop || 0;
  const state = make("span", { class: `state s-${detail.state}` }, detail.state);
  const top = make("div", { class: "bar-top" },
    make("h2", { id: "item-name", tabindex: "-1" }, `${detail.item} `, make("span", { class: "title" }, detail.title)), state,
    make("button", { type: "button", onclick: () => step(-1) }, "Previous"),
    make("button", { type: "button", onclick: () => step(1) }, "Next"),
    make("button", { type: "button", onclick: undo, "data-keep": "undo" }, "Undo"),
    make("button", { type: "button", onclick: closeItem }, "Close"));
  dialog.replaceChildren(top, make("div", { class: "stage" }), panel(), live, saveBar);
  drawStage();
  drawSaveBar();
  find(".panel", dialog).scrollTop = scroll;
  if (focus) find(`[data-keep="${focus}"]`, dialog)?.focus({ preventScroll: true });
  else if (fresh) find("h2", top).focus();
}

/* ---- the stage: the master's preview with the outlines over it ---- */
function drawStage() {
  const stage = find(".stage", dialog);
  const { master, detail } = open;
  const keep = [stage.scrollLeft, stage.scrollTop];
  if (!master || !master.width || !master.height) {
    stage.replaceChildren(make("p", { class: "nothing" }, "There is no picture of this item yet."));
    return;
  }
  const fit = Math.min(stage.clientWidth / master.width, Math.max(stage.clientHeight, 200) / master.height) * 0.96;
  const scale = fit * open.zoom;
  const svg = make("svg", { viewBox: `0 0 ${master.width} ${master.height}`, role: "group", "aria-label": `Outlines on the master ${master.path}` });
  for (const frame of framesOf(detail, master)) svg.append(drawFrame(svg, frame, scale));
  const film = make("div", { class: "film" }, master.preview ? make("img", { src: master.preview, alt: `The whole master ${master.path}` }) : null, svg);
  film.style.width = `${Math.round(master.width * scale)}px`;
  film.style.height = `${Math.round(master.height * scale)}px`;
  film.style.marginTop = `${Math.max(0, (stage.clientHeight - master.height * scale) / 2)}px`;
  const lens = make("div", { class: "lens", role: "group", "aria-label": "Size of the view" },
    make("button", { type: "button", "data-keep": "larger", "aria-label": "Larger", onclick: () => zoomStage(1.6) }, "+"),
    make("button", { type: "button", "data-keep": "smaller", "aria-label": "Smaller", onclick: () => zoomStage(1 / 1.6) }, "−"),
    make("button", { type: "button", "data-keep": "fit", onclick: () => zoomStage(0) }, "Fit"));
  const focus = stage.contains(document.activeElement) ? document.activeElement.dataset.keep : null;
  stage.replaceChildren(lens, film);
  [stage.scrollLeft, stage.scrollTop] = keep;
  stage.classList.toggle("drawing", Boolean(open.drawing));
  if (open.drawing) drawable(svg);
  if (focus) find(`[data-keep="${focus}"]`, stage)?.focus({ preventScroll: true });
}
/* A frame drawn anew: from one corner to the opposite one, by mouse, pen or finger. */
function drawable(svg) {
  const shape = make("path", { class: "drawn" });
  svg.append(shape);
  svg.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    event.preventDefault(); event.stopPropagation();
    svg.setPointerCapture(event.pointerId);
    const { width, height } = open.master;
    const point = (each) => { const at = new DOMPoint(each.clientX, each.clientY).matrixTransform(svg.getScreenCTM().inverse()); return [Math.min(width, Math.max(0, at.x)), Math.min(height, Math.max(0, at.y))].map(round); };
    const from = point(event);
    let corners = null;
    const move = (next) => {
      const to = point(next), [left, right] = [Math.min(from[0], to[0]), Math.max(from[0], to[0])], [top, bottom] = [Math.min(from[1], to[1]), Math.max(from[1], to[1])];
      corners = [[left, top], [right, top], [right, bottom], [left, bottom]];
      shape.setAttribute("d", outline(corners));
    };
    svg.addEventListener("pointermove", move);
    svg.addEventListener("pointerup", () => {
      svg.removeEventListener("pointermove", move);
      open.drawing = false;
      if (!corners || wrongShape(corners)) { redraw(); return; }
      if (open.n === null || !chosenFrame()) addFrame(corners); else { setFrame(open.detail.item, open.master.path, open.n, { corners }); redraw(); }
    }, { once: true });
  }, { capture: true, once: true });
}
function zoomStage(by) {
  const stage = find(".stage", dialog);
  const before = open.zoom;
  open.zoom = by ? Math.min(24, Math.max(1, open.zoom * by)) : 1;
  const grow = open.zoom / before;
  drawStage();
  const frame = chosenFrame();
  if (frame && before === 1 && grow > 1) {
    const svg = find(".film", stage), [x, y] = middle(frame.corners);
    stage.scrollTo(x / open.master.width * svg.offsetWidth - stage.clientWidth / 2, y / open.master.height * svg.offsetHeight - stage.clientHeight / 2);
  } else if (grow !== 1) {
    stage.scrollTo((stage.scrollLeft + stage.clientWidth / 2) * grow - stage.clientWidth / 2, (stage.scrollTop + stage.clientHeight / 2) * grow - stage.clientHeight / 2);
  }
}
function chosenFrame() {
  return open.master && framesOf(open.detail, open.master).find((frame) => frame.n === open.n);
}

function drawFrame(svg, frame, scale) {
  const chosen = frame.n === open.n;
  const group = make("g", { class: [chosen ? "chosen" : "", frame.exclude ? "out" : "", wrongShape(frame.corners) ? "wrong" : ""].join(" ") });
  const halo = make("path", { class: "halo" }), edge = make("path", { class: `edge${frame.state === "review" ? " unsure" : ""}` });
  const face = make("path", { class: "face" });
  const number = make("text", { class: "num", "font-size": 20 / scale }, `${frame.n}`);
  const grips = [];
  const place = (corners) => {
    for (const path of [halo, edge, face]) path.setAttribute("d", outline(corners));
    const [x, y] = middle(corners);
    number.setAttribute("x", x); number.setAttribute("y", y - (chosen ? 24 / scale : 0));
    group.classList.toggle("wrong", wrongShape(corners));
    grips.forEach((grip, at) => {
      const [gx, gy] = at < 4 ? corners[at] : at === 4 ? [x, y] : sideMiddle(corners, at - 5);
      grip.setAttribute("transform", `translate(${gx} ${gy})`);
      grip.setAttribute("aria-label", at > 4 ? `Frame ${frame.n}, ${EDGES[at - 5]} side` : at < 4 ? `Frame ${frame.n}, ${SIDES[at]} corner, x ${Math.round(gx)}, y ${Math.round(gy)}` : `Whole frame ${frame.n}, middle at x ${Math.round(gx)}, y ${Math.round(gy)}`);
    });
  };
  group.append(halo, edge, face, number);
  if (chosen) {
    for (let at = 0; at < 9; at++) {
      const size = at < 4 ? 8 : 6;
      grips.push(make("g", { class: "grip", tabindex: "0", role: "button", "aria-roledescription": "movable point", "data-keep": `grip-${at}` },
        make("circle", { class: "reach", r: 17 / scale }), make("circle", { class: "ring", r: size / scale }), make("circle", { class: "ring2", r: size / scale })));
    }
    group.append(...grips);
    grips.forEach((grip, at) => movable(svg, grip, frame, at, place));
    movable(svg, face, frame, 4, place);
  } else {
    face.addEventListener("click", () => { open.n = frame.n; redraw(); });
  }
  place(frame.corners);
  return group;
}

function moved(corners, at, dx, dy) {
  const { width, height } = open.master;
  if (at < 4) {
    return corners.map(([x, y], each) => each === at ? [round(Math.min(width, Math.max(0, x + dx))), round(Math.min(height, Math.max(0, y + dy)))] : [x, y]);
  }
  if (at > 4) {
    const [first, second] = [at - 5, (at - 4) % 4];
    return corners.map(([x, y], each) => each === first || each === second ? [round(Math.min(width, Math.max(0, x + dx))), round(Math.min(height, Math.max(0, y + dy)))] : [x, y]);
  }
  const xs = corners.map((point) => point[0]), ys = corners.map((point) => point[1]);
  const sx = Math.min(Math.max(dx, -Math.min(...xs)), width - Math.max(...xs));
  const sy = Math.min(Math.max(dy, -Math.min(...ys)), height - Math.max(...ys));
  return corners.map(([x, y]) => [round(x + sx), round(y + sy)]);
}
/* ---- a side or corner that is dragged stops at an edge that was found: of a piece on the table, of the frame as it
   was found, of the frames beside it. A key switches that off; Alt does while it is held. ---- */
let snapping = true;
const SNAP_PX = 10, SNAP_DEGREES = 3; /* pixels of the screen; how far edge and side may lean apart */
function toggleSnapping() {
  snapping = !snapping;
  redraw();
  say(snapping ? "Sides and corners snap to found edges." : "Sides and corners move freely.");
}
function edgesFor(frame) {
  const { detail, master } = open;
  const beside = framesOf(detail, master).filter((each) => each.n !== frame.n && !each.exclude).map((each) => each.corners);
  const quads = [...(master.edges || []), ...(frame.found ? [frame.found.corners] : []), ...beside];
  return quads.flatMap((corners) => corners.map((point, at) => [point, corners[(at + 1) % 4]]));
}
const away = ([a, b], [x, y]) => Math.abs((b[0] - a[0]) * (a[1] - y) - (a[0] - x) * (b[1] - a[1])) / Math.hypot(b[0] - a[0], b[1] - a[1]);
function leans([a, b], [c, d]) {
  const turn = Math.abs(Math.atan2(b[1] - a[1], b[0] - a[0]) - Math.atan2(d[1] - c[1], d[0] - c[0])) * 180 / Math.PI % 180;
  return Math.min(turn, 180 - turn);
}
function crossing([a, b], [c, d]) {
  const [ux, uy, vx, vy] = [b[0] - a[0], b[1] - a[1], d[0] - c[0], d[1] - c[1]], area = ux * vy - uy * vx;
  if (Math.abs(area) < 1e-9) return null;
  const along = ((c[0] - a[0]) * vy - (c[1] - a[1]) * vx) / area;
  return [round(a[0] + along * ux), round(a[1] + along * uy)];
}
/* Return the corners with the dragged corner (0 to 3) or side (5 to 8) on an edge near it, and that edge. */
function snapped(corners, at, edges, reach) {
  const nearest = (side, points) => edges.filter((edge) => Math.hypot(edge[1][0] - edge[0][0], edge[1][1] - edge[0][1]) > 1 && leans(edge, side) <= SNAP_DEGREES)
    .map((edge) => ({ edge, off: Math.max(...points.map((point) => away(edge, point))) })).filter(({ off }) => off <= reach).sort((a, b) => a.off - b.off)[0]?.edge;
  const result = structuredClone(corners), { width, height } = open.master;
  const put = (which, point) => { if (point && point[0] >= 0 && point[1] >= 0 && point[0] <= width && point[1] <= height && Math.hypot(point[0] - corners[which][0], point[1] - corners[which][1]) <= 3 * reach) { result[which] = point; return true; } return false; };
  if (at > 4) {
    const [first, second] = [at - 5, (at - 4) % 4], edge = nearest([corners[first], corners[second]], [corners[first], corners[second]]);
    const on = edge && [put(first, crossing(edge, [corners[first], corners[(first + 3) % 4]])), put(second, crossing(edge, [corners[second], corners[(second + 1) % 4]]))].every(Boolean);
    return on ? { corners: result, lines: [edge] } : { corners, lines: [] };
  }
  const [after, before] = [corners[(at + 1) % 4], corners[(at + 3) % 4]];
  const lines = [nearest([corners[at], after], [corners[at]]), nearest([before, corners[at]], [corners[at]])];
  const [one, other] = [lines[0] || [corners[at], after], lines[1] || [before, corners[at]]];
  const kept = lines.filter(Boolean);
  return kept.length && put(at, crossing(one, other)) ? { corners: result, lines: kept } : { corners, lines: [] };
}
function movable(svg, node, frame, at, place) {
  const item = open.detail.item, path = open.master.path;
  const point = (event) => new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  node.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    event.preventDefault();
    node.focus?.({ preventScroll: true });
    node.setPointerCapture(event.pointerId);
    const from = point(event), edges = at === 4 ? [] : edgesFor(frame), mark = make("path", { class: "snap" });
    svg.append(mark);
    let corners = frame.corners;
    const move = (next) => {
      const to = point(next), free = moved(frame.corners, at, to.x - from.x, to.y - from.y);
      const held = snapping && !next.altKey && at !== 4 ? snapped(free, at, edges, SNAP_PX / svg.getScreenCTM().a) : { corners: free, lines: [] };
      corners = wrongShape(held.corners) ? free : held.corners;
      mark.setAttribute("d", held.lines.map(([a, b]) => `M${a.join(" ")}L${b.join(" ")}`).join(""));
      place(corners);
    };
    const end = () => {
      mark.remove();
      node.removeEventListener("pointermove", move);
      if (corners !== frame.corners) { setFrame(item, path, frame.n, { corners }); redraw(); }
    };
    node.addEventListener("pointermove", move);
    node.addEventListener("pointerup", end, { once: true });
    node.addEventListener("pointercancel", end, { once: true });
  });
  node.addEventListener("keydown", (event) => {
    const by = (event.shiftKey ? 25 : 1);
    const way = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, -by], ArrowDown: [0, by] }[event.key];
    if (!way) return;
    event.preventDefault();
    setFrame(item, path, frame.n, { corners: moved(frame.corners, at, ...way) });
    redraw();
    const now = chosenFrame().corners, [x, y] = at < 4 ? now[at] : at === 4 ? middle(now) : sideMiddle(now, at - 5);
    say(`x ${Math.round(x)}, y ${Math.round(y)}`);
  });
}

/* ---- the panel beside the stage ---- */
function panel() {
  const { detail, master } = open;
  const frames = master ? framesOf(detail, master) : [];
  const frame = frames.find((each) => each.n === open.n);
  return make("div", { class: "panel" },
    ...queuePart(),
    ...(namesNow() ? whose(detail, master) : []),
    ...reasons(detail),
    ...heldBack(detail),
    ...(!namesNow() && (master?.unnamed || claimOf(master?.path)) ? whose(detail, master) : []),
    detail.masters.length > 1 ? chooser("Masters", "master", detail.masters.map((each) => [each.path, each.part || each.path]), master?.path, (path) => { open.master = detail.masters.find((each) => each.path === path); open.n = open.master.frames[0]?.n ?? null; redraw(); }) : null,
    ...(master && !master.unnamed ? [make("h3", {}, "Frames"),
      chooser("Frames", "frame", frames.map((each) => [String(each.n), `${each.n}${each.exclude ? " left out" : each.blank ? " blank" : each.state === "review" ? " for review" : ""}`]), String(open.n), (n) => { open.n = Number(n); redraw(); }),
      make("div", { class: "row" }, make("button", { type: "button", "data-keep": "add", onclick: addFrame }, "Add a frame"))] : []),
    ...(frame ? frameTools(detail, master, frame) : []),
    make("h3", {}, "Note"),
    noteField(detail),
    ...(frame?.film ? [make("h3", {}, `Film of frame ${frame.n}`), make("p", {}, frame.film)] : []),
    ...(frame?.measures.length ? measureTable(frame) : []),
    ...facts(detail, master, frame));
}
function reasons(detail) {
  const made = [];
  if (detail.reasons.length) {
    made.push(make("h3", {}, "For review"), make("ul", {}, ...detail.reasons.map((reason) => make("li", {}, reason.frame ? make("b", {}, `Frame ${reason.frame}: `) : null, reason.text))));
  }
  if (detail.findings.length) {
    made.push(make("h3", {}, detail.state === "held" ? `Held at ${detail.step}` : "Notes"), ...detail.findings.map((each) => pairs([["What", each.what], ["Expected", each.expected], ["Next step", each.next_step], ["File", each.path]], "finding")));
  }
  return made;
}
function heldBack(detail) {
  const entries = correctionOf(detail.item).frames.filter((each) => each.held);
  const words = (entry) => `Frame ${entry.frame}: ${KEYS.filter((key) => key in entry).map((key) => key === "corners" ? key : `${key} ${entry[key]}`).join(", ")} `;
  const drop = (entry) => { edit(detail.item, (correction) => { correction.frames = correction.frames.filter((each) => !each.held || canonical(each) !== canonical(entry)); }); redraw(); };
  return entries.length ? [make("h3", {}, "Decided, and not applied"), make("p", {}, "The frames are others now. Decide anew about the right ones, and drop what stands here."),
    make("ul", {}, ...entries.map((entry) => make("li", {}, words(entry), make("button", { type: "button", onclick: () => drop(entry) }, "Drop this decision"))))] : [];
}
/* ---- whose a capture is, where its name does not tell ---- */
const ID = /^[A-Za-z0-9](?:[A-Za-z0-9._-]{0,98}[A-Za-z0-9])?$/, PLACE = /^[A-Za-z0-9-]{1,40}$/;
const identitiesOf = (correction) => [correction?.identity ?? []].flat();
/* Where it is said which item a capture is of: under its stand-in, or where somebody wrote it by hand. */
function claimOf(path) {
  if (!path) return null;
  for (const [holder, correction] of [...Object.entries(edits), ...Object.entries(page.standing).filter(([item]) => !(item in edits))]) {
    const identity = identitiesOf(correction).find((each) => each.master === path);
    if (identity) return { holder, identity };
  }
  return null;
}
function setIdentity(item, path, values) {
  const claim = claimOf(path), holder = claim?.holder || item;
  edit(holder, (correction) => {
    const others = identitiesOf(correction).filter((each) => each.master !== path);
    const mine = values && { ...(claim ? claim.identity : {}), master: path, ...values };
    if (mine) for (const key of ["part", "sequence"]) if (!mine[key]) delete mine[key];
    correction.identity = mine ? [...others, mine] : others.length ? others : null;
  });
}
function giveTo(item) {
  const { detail, master } = open;
  if (!ID.test(item)) { say("No item has this id: letters, digits, dots, hyphens and underscores."); return; }
  setIdentity(detail.item, master.path, { item });
  if (queueAt >= 0) nextQueued(); else redraw();
  say(`${master.path} is given to ${item}.`);
}
const capturesOf = (count) => count ? `has ${count} capture${count === 1 ? "" : "s"}: this would be a further one` : "";
function rowButton(item, title, date, notes, key, chosen) {
  return make("li", {}, make("button", { type: "button", class: chosen ? "row-of chosen" : "row-of", "aria-pressed": String(chosen), "data-keep": `row-${item}`, onclick: () => giveTo(item) },
    make("span", {}, key ? make("kbd", {}, key) : null, " ", make("b", {}, item), " ", make("bdi", {}, [title, date].filter(Boolean).join(", "))), make("small", {}, notes.filter(Boolean).join("; "))));
}
function whose(detail, master) {
  const claim = claimOf(master.path), near = master.unnamed?.near || [], labels = master.unnamed?.labels || [];
  const matches = make("ul", { class: "rows" }), seek = make("input", { type: "text", maxlength: "100", autocomplete: "off", "data-keep": "whose", value: "", "aria-label": "Another item: its id, or words of its title" });
  seek.addEventListener("input", () => seekRows(seek.value, matches, claim?.identity.item));
  seek.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); const only = find("button", matches); if (only) only.click(); } });
  const place = (key, words) => make("label", { class: "line" }, make("span", { class: "wide-6" }, words), make("input", { type: "text", maxlength: "40", value: claim.identity[key] || "", "data-keep": `whose-${key}`, onchange: (event) => {
    const value = event.target.value.trim();
    if (value && !PLACE.test(value)) { say(`${words}: letters, digits and hyphens.`); event.target.setAttribute("aria-invalid", "true"); return; }
    setIdentity(detail.item, master.path, { [key]: value });
    redraw();
  } }));
  return [make("h3", {}, "Which item is it?"),
    labels.length ? make("p", {}, "Labels in the picture: ", ...labels.map((text) => make("code", {}, text)).flatMap((each, at) => at ? [", ", each] : [each])) : null,
    claim ? make("p", { class: "given" }, "Given to ", make("b", {}, claim.identity.item), ". The next run takes it. ", make("button", { type: "button", "data-keep": "whose-back", onclick: () => { setIdentity(detail.item, master.path, null); redraw(); } }, "Take back")) : null,
    near.length ? make("ol", { class: "rows" }, ...near.map(([item, title, date, why, masters], at) => rowButton(item, title, date, [why, capturesOf(masters)], queueAt >= 0 ? `${at + 1}` : null, claim?.identity.item === item))) : make("p", { class: "quiet" }, "No row of the catalogue is near."),
    make("label", { class: "line" }, "Another item ", seek), matches,
    claim ? make("details", { open: placeOpen, ontoggle: (event) => { placeOpen = event.target.open; } }, make("summary", {}, "Part and number, where the item has several captures"), place("part", "Part"), place("sequence", "Number")) : null].filter(Boolean);
}
let placeOpen = false;
async function seekRows(text, matches, chosen) {
  const words = text.toLowerCase().split(/\s+/).filter(Boolean);
  if (!words.length) { matches.replaceChildren(); return; }
  let known = { rows: [], more: 0 };
  try { known = await piece("rows.js"); } catch { /* an id can be typed all the same */ }
  const found = known.rows.filter(([item, title, date]) => { const said = `${item} ${title} ${date}`.toLowerCase(); return words.every((word) => said.includes(word)); });
  const exact = found.findIndex(([item]) => item.toLowerCase() === text.trim().toLowerCase());
  if (exact > 0) found.unshift(...found.splice(exact, 1));
  const shownRows = found.slice(0, 8).map(([item, title, date, masters]) => rowButton(item, title, date, [capturesOf(masters)], null, item === chosen));
  const typed = text.trim();
  if (exact < 0 && ID.test(typed)) shownRows.push(rowButton(typed, "", "", [`as typed; ${known.more ? "not among the rows that can be searched here" : "the catalogue has no such row"}`], null, false));
  matches.replaceChildren(...shownRows);
  say(found.length ? `${found.length} row${found.length === 1 ? "" : "s"}` : "No row has these words.");
}
function pairs(rows, kind = "") {
  const said = (text) => Array.isArray(text) ? text.map((each) => make("p", {}, each)) : [text];
  return make("dl", { class: kind }, ...rows.filter((row) => row[1] && row[1].length !== 0).flatMap(([label, text]) => [make("dt", {}, label), make("dd", {}, ...said(text))]));
}
function chooser(legend, name, options, chosen, action) {
  return make("fieldset", { class: "choose" }, make("legend", { class: "skip" }, legend), make("div", { class: "row" },
    ...options.map(([value, words]) => make("label", {}, make("input", { type: "radio", name, value, checked: value === chosen, "data-keep": `${name}-${value}`, onchange: () => action(value) }), words))));
}
function frameTools(detail, master, frame) {
  const set = (values) => { setFrame(detail.item, master.path, frame.n, values); redraw(); };
  const turn = (by) => set({ rotate: (frame.rotate + by + 360) % 360 });
  const tick = (key, words) => make("label", { class: "line" }, make("input", { type: "checkbox", checked: frame[key], "data-keep": key, onchange: (event) => set({ [key]: event.target.checked }) }), words);
  const pick = (key, words, options) => make("label", { class: "line" }, make("span", { class: "wide-6" }, words), make("select", { "data-keep": key, "aria-label": words, onchange: (event) => set({ [key]: event.target.value }) }, ...options.map((each) => make("option", { selected: each === frame[key] }, each))));
  const touched = entryOf(correctionOf(detail.item), master.path, frame.n);
  return [
    make("h3", {}, `Frame ${frame.n}`),
    frame.found ? pairs([["Found", frame.found.source === "correction" ? "set by a person" : `confidence ${frame.found.confidence}`], ["Skew", `${frame.found.angle}°`]]) : pairs([["Found", "added by you"]]),
    wrongShape(frame.corners) ? make("p", { class: "warn" }, "The corners cross: set them so that they go round the picture.") : null,
    make("div", { class: "row" }, make("button", { type: "button", "data-keep": "left", onclick: () => turn(-90) }, "Turn left"), make("button", { type: "button", "data-keep": "right", onclick: () => turn(90) }, "Turn right"), make("span", {}, frame.rotate ? `${frame.rotate}° clockwise` : "not turned")),
    tick("mirror", "Mirror left to right"), tick("exclude", "Leave this frame out"), tick("blank", "The frame is blank"),
    tick("accept", "Seen, and accepted as it is"),
    pick("polarity", "Polarity", ["negative", "positive"]), pick("process", "Process", ["colour", "monochrome"]),
    make("div", { class: "row" },
      make("button", { type: "button", "data-keep": "confirm", onclick: () => { set({ corners: frame.corners }); say(`Frame ${frame.n} confirmed as drawn.`); } }, "Confirm as drawn"),
      touched ? make("button", { type: "button", "data-keep": "forget", onclick: () => { edit(detail.item, (correction) => { correction.frames = correction.frames.filter((each) => each !== entryOf(correction, master.path, frame.n)); }); if (!frame.found) open.n = master.frames[0]?.n ?? null; redraw(); } }, frame.found ? "Drop the correction" : "Remove the frame") : null),
    make("label", { class: "line" }, make("input", { type: "checkbox", checked: snapping, "data-keep": "snap", onchange: toggleSnapping }), "Snap to found edges", " ", make("kbd", {}, "s")),
    make("details", { open: cornersOpen, ontoggle: (event) => { cornersOpen = event.target.open; } }, make("summary", {}, "Corners in numbers (pixels of the master)"), cornerFields(set, frame)),
    queueAt < 0 ? compare(master, frame) : null,
    frame.tiles || frame.files.access ? make("div", { class: "row" }, make("button", { type: "button", "data-keep": "zoom", onclick: () => openZoom(frame) }, "Zoom into the picture")) : null,
  ];
}
let cornersOpen = false;
function cornerFields(set, frame) {
  const field = (at, axis) => make("input", { type: "number", step: "any", value: frame.corners[at][axis], "aria-label": `${SIDES[at]}, ${axis ? "y" : "x"}`, "data-keep": `corner-${at}-${axis}`, onchange: (event) => {
    const value = event.target.valueAsNumber;
    if (Number.isFinite(value)) set({ corners: frame.corners.map((point, each) => each === at ? point.map((old, which) => which === axis ? round(value) : old) : point) });
  } });
  return make("div", { class: "four" }, ...SIDES.flatMap((words, at) => [make("span", {}, words), field(at, 0), field(at, 1)]));
}
function noteField(detail) {
  return make("textarea", { "aria-label": "Note to the record", maxlength: "2000", "data-keep": "note", onchange: (event) => { const text = event.target.value.trim(); edit(detail.item, (correction) => { correction.note = text || null; }); } }, correctionOf(detail.item).note || "");
}
function addFrame(drawn = null) {
  const { detail, master } = open;
  const frames = framesOf(detail, master), model = chosenFrame() || frames[frames.length - 1];
  const numbers = [...frames.map((frame) => frame.n), ...correctionOf(detail.item).frames.map((entry) => entry.frame)];
  const n = Math.max(0, ...numbers) + 1;
  let corners = Array.isArray(drawn) ? drawn : null;
  if (corners) { /* as drawn */ } else if (model) {
    const xs = model.corners.map((point) => point[0]), ys = model.corners.map((point) => point[1]);
    const wide = Math.max(...xs) - Math.min(...xs), tall = Math.max(...ys) - Math.min(...ys);
    const right = Math.max(...xs) + wide * 1.05 <= master.width, below = Math.max(...ys) + tall * 1.05 <= master.height;
    corners = moved(model.corners, 4, right ? wide * 1.05 : below ? 0 : -wide * 1.05, right ? 0 : below ? tall * 1.05 : 0);
  } else {
    const [w, h] = [master.width, master.height];
    corners = [[w * .25, h * .25], [w * .75, h * .25], [w * .75, h * .75], [w * .25, h * .75]].map((point) => point.map(round));
  }
  open.n = n;
  setFrame(detail.item, master.path, n, { corners, polarity: model?.polarity || "negative", process: model?.process || "monochrome", rotate: model?.rotate || 0, mirror: model?.mirror || false });
  redraw();
  say(`Frame ${n} added.`);
}
function measureTable(frame) {
  const words = { pass: "within", review: "review", fail: "outside", "not measured": "not measured" };
  return [make("h3", {}, `Measures of frame ${frame.n}`), make("table", {}, make("thead", {}, make("tr", {}, ...["Measure", "Value", "Limit", "Verdict"].map((text) => make("th", { scope: "col" }, text)))),
    make("tbody", {}, ...frame.measures.map((each) => make("tr", { title: each.source || null }, make("th", { scope: "row" }, each.name.replaceAll("_", " ")), make("td", {}, (each.value ?? null) === null ? "" : `${typeof each.value === "number" ? Number(each.value.toPrecision(4)) : each.value} ${each.unit || ""}`), make("td", {}, (each.limit || "").replace("<=", "≤").replace(">=", "≥")), make("td", { class: each.verdict === "review" || each.verdict === "fail" ? "warn" : "" }, words[each.verdict] || each.verdict)))))];
}
function facts(detail, master, frame) {
  const made = [];
  if (detail.catalogue.length) made.push(make("h3", {}, "Catalogue"), pairs(detail.catalogue));
  if (master) {
    made.push(make("h3", {}, "Master"), pairs([["File", master.path], ["Size", master.width ? `${master.width} × ${master.height} px, ${(master.bytes / 1e6).toFixed(1)} MB` : ""], ["Pixels an inch", master.ppi ? `${Number(master.ppi.toPrecision(5))} (from ${master.ppi_source})` : ""], ["Kind", master.kind], ["Captured", master.taken], ["SHA-256", master.sha256], ["Checksum", { match: "agreed with the list when last read", unlisted: "on no list; digest taken when last read" }[master.verdict] || ""], ["Last read", (master.read || "").replace("T", " ").replace("Z", " UTC")], ["Notes", master.notes]]));
  }
  const file = frame?.files.access;
  if (file) made.push(make("h3", {}, "Access image"), pairs([["Size", `${file.w} × ${file.h} px`], ["SHA-256", file.sha256]]), make("p", {}, make("a", { href: file.src }, "Open the access image")));
  if (detail.delivery) made.push(make("h3", {}, "Delivered"), pairs([["Delivery", detail.delivery]]));
  if (detail.links.length) made.push(make("h3", {}, "Records"), make("ul", {}, ...detail.links.map(([words, where]) => make("li", {}, make("a", { href: where }, words)))));
  return made;
}

/* ---- the review queue: every frame that asks for a look, by reason, one key each ---- */
function goQueue(at) {
  const wanted = `#queue=${at}`;
  if (location.hash === wanted) showQueued(at); else location.hash = wanted;
}
async function showQueued(at) {
  const entry = queue[at];
  let detail;
  try { detail = await detailOf(entry.item); } catch (problem) { alert(`${entry.item} cannot be shown: ${problem.message}.`); return; }
  queueAt = at;
  shownAt = performance.now();
  openOn(detail, entry.master, entry.frame);
  say(`${at + 1} of ${queue.length}: ${entry.item}${entry.frame ? `, frame ${entry.frame}` : ""}`);
  const next = queue[at + 1];
  if (next) detailOf(next.item).then((coming) => { for (const master of coming.masters) if (master.path === next.master && master.preview) new Image().src = master.preview; }).catch(() => {});
}
const queueLine = () => `${queueAt + 1} of ${queue.length}, ${queue.filter(isDecided).length} decided`;
function isDecided(entry) {
  if (page.queue[entry.group].names) return Boolean(claimOf(entry.master));
  return Boolean(entryOf(correctionOf(entry.item), entry.master, entry.frame));
}
/* Of a capture whose item is asked, a digit gives it to the row of that number. */
const namesNow = () => queueAt >= 0 && Boolean(page.queue[queue[queueAt].group].names);
function queueKeys() {
  if (namesNow()) {
    const near = open.master?.unnamed?.near || [];
    return { ...Object.fromEntries(near.map(([item], at) => [`${at + 1}`, () => giveTo(item)])),
      w: () => find('[data-keep="whose"]', dialog)?.focus(), n: () => nextQueued(), b: () => step(-1), p: () => step(-1), u: undo };
  }
  const frame = chosenFrame();
  const set = (values) => { if (frame) { setFrame(open.detail.item, open.master.path, frame.n, values); redraw(); } else say("There is no frame: draw one with r."); };
  const turn = (by) => set({ rotate: ((frame?.rotate || 0) + by + 360) % 360 });
  return {
    a: () => { if (!frame) { say("There is no frame to accept: draw one with r, or go on with n."); return; } setFrame(open.detail.item, open.master.path, frame.n, { accept: true }); nextQueued(); },
    n: () => nextQueued(), b: () => step(-1), p: () => step(-1),
    t: () => turn(90), T: () => turn(-90), m: () => set({ mirror: !frame?.mirror }),
    x: () => set({ exclude: !frame?.exclude }), i: () => set({ polarity: frame?.polarity === "negative" ? "positive" : "negative" }),
    r: () => { open.drawing = !open.drawing; drawStage(); say(open.drawing ? "Draw the frame from one corner to the opposite one." : ""); },
    s: toggleSnapping, z: () => { if (frame && (frame.tiles || frame.files.access)) openZoom(frame); }, u: undo,
  };
}
function nextQueued() {
  const next = server?.role ? queue.findIndex((entry, at) => at > queueAt && !isDecided(entry) && !Object.values(others).includes(entry.item)) : queueAt + 1;
  if (next >= 0 && next < queue.length) { goQueue(next); return; }
  const left = queue.filter((entry) => !isDecided(entry)).length;
  redraw();
  say(left ? `The end of the queue; ${left} not decided yet.` : "The end of the queue: all are decided.");
}
const QUEUE_KEYS = [["a", "accept, next"], ["n", "next"], ["b", "back"], ["t", "turn right"], ["T", "turn left"], ["m", "mirror"], ["x", "leave out"], ["i", "polarity"], ["r", "draw anew"], ["s", "snap to edges"], ["z", "zoom"], ["u", "undo"]];
const NAMING_KEYS = [["w", "another item"], ["n", "next"], ["b", "back"], ["u", "undo"]];
function queuePart() {
  if (queueAt < 0) return [];
  const entry = queue[queueAt], group = page.queue[entry.group];
  const who = ROLE.test(author) ? null : make("label", { class: "line" }, "Your role id ", make("input", { type: "text", maxlength: "40", autocomplete: "off", "data-keep": "queue-who", onchange: (event) => { author = event.target.value.trim(); remember(); drawSaveBar(); redraw(); saveAtOnce(); } }));
  const buttons = queueKeys();
  return [make("h3", {}, queueLine()),
    make("p", {}, `${group.entries.length} of this reason: ${group.words}`), who,
    make("ul", { class: "keyed" }, namesNow() ? make("li", {}, make("kbd", {}, "1"), " to ", make("kbd", {}, "8"), " give it to the row of that number") : "", ...(namesNow() ? NAMING_KEYS : QUEUE_KEYS).map(([key, words]) => make("li", {}, make("button", { type: "button", "data-keep": `key-${key}`, onclick: () => buttons[key]?.() }, make("kbd", {}, key), ` ${words}`)))), chosenFrame() ? compare(open.master, chosenFrame()) : null].filter(Boolean);
}
/* All pictures of one reason side by side: those that stay marked are accepted together. */
async function showSheet(number) {
  try { await listed(); } catch (problem) { alert(`The pictures cannot be shown: ${problem.message}.`); return; }
  const entries = queue.filter((entry) => entry.group === number && entry.frame !== null);
  let loaded;
  try { loaded = await Promise.all(entries.map((entry) => detailOf(entry.item))); } catch (problem) { alert(`The pictures cannot be shown: ${problem.message}.`); return; }
  loaded.forEach((detail) => details.set(detail.item, detail));
  const marks = [];
  const pictures = entries.map((entry, at) => {
    const frame = loaded[at].masters.find((each) => each.path === entry.master)?.frames.find((each) => each.n === entry.frame);
    const file = frame?.files.thumb || frame?.files.access;
    const mark = make("input", { type: "checkbox", checked: true, onchange: count });
    marks.push(mark);
    return make("label", {}, file ? make("img", { src: file.src, loading: "lazy", alt: "" }) : make("span", {}, "no picture"), make("span", {}, mark, ` ${entry.item}, frame ${entry.frame}`));
  });
  const accept = make("button", { type: "button", class: "main", onclick: () => {
    const chosen = entries.filter((_, at) => marks[at].checked);
    queueAt = queue.indexOf(entries[0]);
    for (const entry of chosen) setFrame(entry.item, entry.master, entry.frame, { accept: true });
    closeItem();
    drawSaveBar();
  } });
  function count() { const chosen = marks.filter((each) => each.checked).length; accept.textContent = `Accept ${chosen} of ${marks.length}`; accept.disabled = !chosen; }
  count();
  dialog.replaceChildren(make("div", { class: "bar-top" }, make("h2", { id: "item-name", tabindex: "-1" }, page.queue[number].words), accept, make("button", { type: "button", onclick: closeItem }, "Close")), make("div", { class: "sheet" }, ...pictures), live, saveBar);
  if (!dialog.open) dialog.showModal();
  find("h2", dialog).focus();
}
for (const button of all("[data-group]")) button.addEventListener("click", () => showSheet(Number(button.dataset.group)));

/* ---- the picture as it is, and a sketch of it as it will be, from the preview ---- */
function compare(master, frame) {
  const before = frame.files.access ? make("figure", {}, make("img", { src: (frame.files.thumb || frame.files.access).src, alt: `Picture of frame ${frame.n} as it is` }), make("figcaption", {}, "As it is")) : null;
  if (!master.preview || wrongShape(frame.corners)) return make("div", { class: "now" }, before);
  const canvas = make("canvas", { role: "img", "aria-label": `Sketch of frame ${frame.n} as it will be` });
  const image = new Image();
  image.onload = () => sketch(canvas, image, master, frame);
  image.src = master.preview;
  return make("div", { class: "now" }, before, make("figure", {}, canvas, make("figcaption", {}, "As it will be, sketched")));
}
/* The colours that the picture has now, as three curves over the preview; where there are none, or another polarity
   is wanted than the picture was made with, the plain opposite. The filter is the element's: it reads no pixel, so
   that it works from the disk too. */
function colours(canvas, frame) {
  const grey = frame.process === "monochrome" ? " grayscale(1)" : "", curves = frame.found?.sketch;
  if (!curves || frame.polarity !== frame.found.polarity) return `${frame.polarity === "negative" ? "invert(1)" : ""}${grey}`.trim() || "none";
  const svgNode = (tag, given, ...inside) => { const node = document.createElementNS(NS, tag); for (const [name, value] of Object.entries(given)) node.setAttribute(name, value); node.append(...inside); return node; };
  const transfer = svgNode("feComponentTransfer", {}, ...["R", "G", "B"].map((letter, at) => svgNode(`feFunc${letter}`, { type: "table", tableValues: curves[at].map((code) => (code / 255).toFixed(4)).join(" ") })));
  const filter = svgNode("filter", { id: "sketch-colours", "color-interpolation-filters": "sRGB" }, transfer);
  canvas.after(svgNode("svg", { width: 0, height: 0, "aria-hidden": "true", class: "filters" }, filter));
  return `url(#sketch-colours)${grey}`;
}
function sketch(canvas, image, master, frame) {
  const [tl, tr, , bl] = frame.corners;
  const wide = Math.hypot(tr[0] - tl[0], tr[1] - tl[1]), tall = Math.hypot(bl[0] - tl[0], bl[1] - tl[1]);
  const scale = 360 / Math.max(wide, tall), w = wide * scale, h = tall * scale, turned = frame.rotate % 180 !== 0;
  canvas.width = Math.round(turned ? h : w); canvas.height = Math.round(turned ? w : h);
  const pen = canvas.getContext("2d");
  canvas.style.filter = colours(canvas, frame);
  pen.translate(canvas.width / 2, canvas.height / 2);
  if (frame.mirror) pen.scale(-1, 1);
  pen.rotate(frame.rotate * Math.PI / 180);
  pen.translate(-w / 2, -h / 2);
  pen.beginPath(); pen.rect(0, 0, w, h); pen.clip();
  const a = (tr[0] - tl[0]) / w, b = (tr[1] - tl[1]) / w, c = (bl[0] - tl[0]) / h, d = (bl[1] - tl[1]) / h, area = a * d - b * c;
  pen.transform(d / area, -b / area, -c / area, a / area, (c * tl[1] - d * tl[0]) / area, (b * tl[0] - a * tl[1]) / area);
  pen.drawImage(image, 0, 0, master.width, master.height);
}

/* ---- zoom into the full tiles, with the viewer where it is installed ---- */
let zoomed = null, viewerScript = null;
function loadViewer() {
  if (!page.viewer) return Promise.reject(new Error("not installed"));
  viewerScript ||= new Promise((resolve, reject) => document.head.append(make("script", { src: page.viewer, onload: () => window.OpenSeadragon ? resolve(window.OpenSeadragon) : reject(new Error("no viewer")), onerror: () => reject(new Error("missing")) })));
  return viewerScript;
}
async function openZoom(frame) {
  const see = make("div", { class: "see", tabindex: "0", "aria-label": `Picture of frame ${frame.n}, enlarged` });
  const words = make("p", {}, `${open.detail.item}, frame ${frame.n}`);
  const box = make("div", { class: "zoom", role: "dialog", "aria-label": "Enlarged picture" }, make("div", { class: "bar-top" }, words, make("button", { type: "button", onclick: closeZoom }, "Close")), see);
  zoomed = { box, viewer: null };
  dialog.append(box);
  find("button", box).focus();
  try {
    if (!frame.tiles) throw new Error("no tiles");
    const library = await loadViewer();
    const target = make("div", { class: "osd" });
    see.replaceChildren(target);
    zoomed.viewer = library({ element: target, drawer: "canvas", showNavigationControl: false, maxZoomPixelRatio: 2, animationTime: 0.4, tileSources: tileSource(frame.tiles) });
    window.glassineViewer = zoomed.viewer;
    words.append(" (plus and minus keys or the wheel zoom, arrow keys move)");
  } catch {
    if (frame.tiles?.tiles?.[0]) tileZoom(see, words, frame); else plainZoom(see, words, frame);
  }
}
/* Without the viewer of npm: the static tiles themselves, on a canvas (IIIF Image API, level 0). The wheel, two fingers
   and the keys zoom, dragging and the arrow keys move. */
function tileZoom(see, words, frame) {
  const about = frame.tiles, { width: side, scaleFactors: factors } = about.tiles[0], version2 = "@id" in about, base = about["@id"] || about.id;
  const canvas = make("canvas", { class: "tiles", role: "img", "aria-label": `Picture of frame ${frame.n} at full resolution` });
  see.replaceChildren(canvas);
  words.append(" (plus and minus keys or the wheel zoom, arrow keys move)");
  const tiles = new Map(), ratio = window.devicePixelRatio || 1;
  let scale = 0, left = 0, top = 0, waiting = 0; /* scale: pixels of the screen for one of the picture; left, top: of the picture at the corner */
  const wide = () => see.clientWidth, tall = () => see.clientHeight;
  const fit = () => Math.min(wide() / about.width, tall() / about.height);
  function tileOf(factor, column, row) {
    const x = column * side * factor, y = row * side * factor, w = Math.min(side * factor, about.width - x), h = Math.min(side * factor, about.height - y);
    const wholeOf = w === about.width && h === about.height, tileW = Math.ceil(w / factor), tileH = Math.ceil(h / factor);
    const region = wholeOf ? "full" : `${x},${y},${w},${h}`;
    const size = wholeOf && factor === 1 ? (version2 ? "full" : "max") : version2 ? (tileW === about.width ? "full" : `${tileW},`) : `${tileW},${tileH}`;
    const name = `${base}/${region}/${size}/0/default.jpg`;
    if (!tiles.has(name)) { const image = new Image(); image.onload = drawSoon; image.src = name; tiles.set(name, { image, x, y, w, h }); }
    return tiles.get(name);
  }
  function draw() {
    waiting = 0;
    if (!canvas.isConnected) return;
    canvas.width = Math.round(wide() * ratio); canvas.height = Math.round(tall() * ratio);
    const pen = canvas.getContext("2d");
    pen.scale(ratio, ratio);
    const exact = factors.filter((each) => each <= 1 / (scale * ratio)).pop() || factors[0];
    for (const factor of [...factors].reverse().filter((each) => each === exact || each === factors[factors.length - 1])) {
      const step = side * factor, last = [Math.ceil(about.width / step) - 1, Math.ceil(about.height / step) - 1];
      for (let row = Math.max(0, Math.floor(top / step)); row <= Math.min(last[1], Math.floor((top + tall() / scale) / step)); row++)
        for (let column = Math.max(0, Math.floor(left / step)); column <= Math.min(last[0], Math.floor((left + wide() / scale) / step)); column++) {
          const { image, x, y, w, h } = tileOf(factor, column, row);
          if (image.complete && image.naturalWidth) pen.drawImage(image, (x - left) * scale, (y - top) * scale, w * scale, h * scale);
        }
    }
    canvas.dataset.scale = scale.toFixed(4);
  }
  function drawSoon() { if (!waiting) waiting = requestAnimationFrame(draw); }
  function hold() {
    const free = [about.width - wide() / scale, about.height - tall() / scale];
    left = free[0] < 0 ? free[0] / 2 : Math.min(Math.max(left, 0), free[0]);
    top = free[1] < 0 ? free[1] / 2 : Math.min(Math.max(top, 0), free[1]);
    drawSoon();
  }
  function zoomBy(by, x = wide() / 2, y = tall() / 2) {
    const next = Math.min(Math.max(scale * by, fit()), 4), at = [left + x / scale, top + y / scale];
    scale = next; left = at[0] - x / scale; top = at[1] - y / scale;
    hold();
  }
  const fingers = new Map();
  canvas.addEventListener("wheel", (event) => { event.preventDefault(); const box = canvas.getBoundingClientRect(); zoomBy(Math.exp(-event.deltaY / 400), event.clientX - box.left, event.clientY - box.top); }, { passive: false });
  canvas.addEventListener("pointerdown", (event) => { canvas.setPointerCapture(event.pointerId); fingers.set(event.pointerId, [event.clientX, event.clientY]); });
  canvas.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    const now = [event.clientX, event.clientY];
    if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== event.pointerId)[1], apart = (point) => Math.hypot(point[0] - other[0], point[1] - other[1]), box = canvas.getBoundingClientRect();
      if (apart(before) > 5) zoomBy(apart(now) / apart(before), other[0] - box.left, other[1] - box.top);
    } else { left -= (now[0] - before[0]) / scale; top -= (now[1] - before[1]) / scale; hold(); }
    fingers.set(event.pointerId, now);
  });
  for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, (event) => fingers.delete(event.pointerId));
  see.addEventListener("keydown", (event) => {
    const by = { "+": 1.5, "=": 1.5, "-": 1 / 1.5 }[event.key], way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!by && !way && event.key !== "0") return;
    event.preventDefault(); event.stopPropagation();
    if (by) zoomBy(by); else if (way) { left += way[0] * wide() / 4 / scale; top += way[1] * tall() / 4 / scale; hold(); } else { scale = fit(); hold(); }
  });
  scale = fit();
  hold();
  see.focus();
}
function tileSource(tiles) {
  const key = "@id" in tiles ? "@id" : "id";
  return { ...tiles, [key]: new URL(tiles[key], location.href).href };
}
function plainZoom(see, words, frame) {
  const file = frame.files.access;
  if (!file) { see.replaceChildren(make("p", { class: "nothing" }, "There is no picture to enlarge yet.")); return; }
  const image = make("img", { src: file.src, alt: `Picture of frame ${frame.n}`, width: file.w, height: file.h });
  see.replaceChildren(image);
  words.append(" at the size of the access image: scroll to move");
}
function closeZoom() {
  zoomed?.viewer?.destroy();
  zoomed?.box.remove();
  zoomed = null;
  find('[data-keep="zoom"]', dialog)?.focus();
}

/* ---- saving ---- */
const ROLE = /^[A-Za-z0-9._-]{1,40}$/;
const saveBar = find("#save");
let server = null; /* what the review server says of itself, where the page comes from one */
function drawSaveBar(message) {
  const count = Object.keys(edits).length;
  saveBar.hidden = !count && !message;
  const focus = saveBar.contains(document.activeElement) ? document.activeElement.dataset.keep : null;
  if (contested.size) { drawContested(message); return; }
  const words = make("p", { role: "status" }, message || `${count} item${count === 1 ? "" : "s"} changed. The next run redoes just ${count === 1 ? "it" : "these"}.`);
  const who = make("input", { type: "text", value: author, "data-keep": "who", maxlength: "40", autocomplete: "off", onchange: (event) => { author = event.target.value.trim(); remember(); } });
  saveBar.replaceChildren(words, ...(count ? [
    server?.role ? make("span", {}, "You decide as ", make("bdi", {}, author)) : make("label", {}, "Your role id ", who),
    make("button", { type: "button", class: "main", "data-keep": "save", onclick: () => { author = who.value.trim(); save(); } }, server?.writable ? "Save corrections" : "Download corrections.yaml"),
    make("button", { type: "button", "data-keep": "discard", onclick: discard }, "Discard all")] : [make("button", { type: "button", onclick: () => { saveBar.hidden = true; } }, "Close")]));
  if (focus) find(`[data-keep="${focus}"]`, saveBar)?.focus();
}
/* What another person decided otherwise meanwhile: nothing of it is saved until somebody chooses. */
function drawContested(message) {
  const items = [...contested], each = (action) => () => { items.forEach(action); remember(); redraw(); drawSaveBar(); saveAtOnce(); };
  const theirs = [...new Set(items.map((item) => page.standing[item]?.by).filter(Boolean))].join(", ") || "Somebody";
  saveBar.hidden = false;
  saveBar.replaceChildren(make("p", { role: "alert" }, message || `${theirs} decided ${items.join(", ")} otherwise meanwhile.`),
    make("button", { type: "button", class: "main", onclick: each((item) => { forget(item); byItem.get(item)?.node?.classList.remove("changed"); }) }, "Keep theirs"),
    make("button", { type: "button", onclick: each((item) => { bases[item] = structuredClone(page.standing[item] || null); contested.delete(item); }) }, "Save mine"));
}
function discard() {
  if (!confirm("Discard every change that is not saved?")) return;
  const items = Object.keys(edits);
  items.forEach(forget);
  items.forEach(afterEdit);
  redraw();
}
function quoted(text) {
  const sound = typeof text.toWellFormed === "function" ? text.toWellFormed() : text;
  return JSON.stringify(sound).replace(/[\u007f-\u009f\u2028\u2029\ufeff\ufffe\uffff]/g, (sign) => `\\u${sign.charCodeAt(0).toString(16).padStart(4, "0")}`);
}
function asYaml(corrections) {
  const value = (each) => typeof each === "string" ? quoted(each) : Array.isArray(each) ? `[${each.map(value).join(", ")}]`
    : each && typeof each === "object" ? `{${Object.entries(each).map(([key, part]) => `${key}: ${value(part)}`).join(", ")}}` : String(each);
  const lines = ["# Decided on the review page; the next run redoes just these items.", "corrections:"];
  for (const [item, correction] of Object.entries(corrections)) {
    lines.push(`  - item: ${quoted(item)}`);
    for (const key of ["by", "when", "note"]) if (correction[key]) lines.push(`    ${key}: ${quoted(correction[key])}`);
    if (correction.identity) lines.push(`    identity: ${value(correction.identity)}`);
    if (correction.frames.length) lines.push("    frames:");
    for (const frame of correction.frames) {
      const pairsOf = ["master", "frame", ...KEYS, "seen"].filter((key) => frame[key] !== undefined).map((key) => `${key}: ${value(frame[key])}`);
      lines.push(`      - ${pairsOf.join("\n        ")}`);
    }
  }
  if (lines.length === 2) lines[1] = "corrections: []";
  if (page.withdraw.length) lines.push("withdraw:");
  for (const each of page.withdraw) {
    const pairsOf = ["item", "master", "frames", "reason", "by", "when"].filter((key) => each[key] !== undefined).map((key) => `${key}: ${value(each[key])}`);
    lines.push(`  - ${pairsOf.join("\n    ")}`);
  }
  return `${lines.join("\n")}\n`;
}
const saysNothing = (each) => !each.frames.length && !each.note && !each.identity;
function decided() {
  const when = new Date().toISOString().replace(/\.\d+Z$/, "Z");
  return Object.fromEntries(Object.entries(edits).filter(([item]) => !contested.has(item)).map(([item, each]) => [item, { ...each, frames: each.frames.map(withoutHeld), by: author, when }]));
}
function wrongOf(corrections) {
  for (const [item, correction] of Object.entries(corrections)) {
    const numbers = correction.frames.map((each) => `${each.master || ""} ${each.frame}`);
    const twice = correction.frames.find((each, at) => numbers.indexOf(numbers[at]) !== at);
    if (twice) return `${item}, frame ${twice.frame}: a decision that was not applied has the same number. Drop it in the item's view, then save.`;
    for (const frame of correction.frames) if (frame.corners && wrongShape(frame.corners)) return `${item}, frame ${frame.frame}: the corners cross. Set them right, then save.`;
  }
  return null;
}
async function save() {
  try { await listed(); } catch (problem) { drawSaveBar(`Nothing is saved yet: what stands cannot be read (${problem.message}).`); return; }
  if (!ROLE.test(author)) {
    drawSaveBar("First say who decides: a role id of letters, digits, dots or hyphens, for example op-07.");
    find("input", saveBar).focus();
    return;
  }
  const decisions = decided(), wrong = wrongOf(decisions);
  if (wrong) { drawSaveBar(wrong); return; }
  if (server?.writable) await post(decisions); else download(decisions);
}
function merged(decisions) {
  const result = { ...page.standing };
  for (const [item, each] of Object.entries(decisions)) if (saysNothing(each)) delete result[item]; else result[item] = each;
  return result;
}
function download(decisions) {
  const whole = merged(decisions);
  const link = make("a", { href: URL.createObjectURL(new Blob([asYaml(whole)], { type: "application/yaml" })), download: "corrections.yaml" });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  saved(structuredClone(edits), whole, `Downloaded. Put corrections.yaml into the folder of the batch ${page.batch} in place of the one that is there; the next run redoes these items.`);
}
async function post(decisions) {
  const sent = structuredClone(edits);
  if (sending) { sendAgain = true; return; }
  sending = true;
  const answer = await send(decisions);
  sending = false;
  adopt(answer);
  settle(sent, answer);
  redraw();
  drawSaveBar(answer.message);
}
async function send(decisions) {
  const entries = Object.entries(decisions).map(([item, each]) => ({ item, ...each })), items = Object.keys(decisions);
  const seen = Object.fromEntries(items.map((item) => [item, bases[item] || null]));
  const seconds = Object.fromEntries(items.filter((item) => spent[item]).map((item) => [item, spent[item]]));
  try {
    const reply = await fetch("../corrections", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ corrections: entries, seen, seconds, since: server?.revision || "" }) });
    return await reply.json();
  } catch (problem) { return { saved: false, later: true, message: `The review server does not answer (${problem.message}). Your changes are kept here.` }; }
}
/* What stands now, as the server says: the whole, or what changed since it was last asked. */
function adopt(answer) {
  if (answer.corrections) page.standing = answer.corrections;
  for (const [item, each] of Object.entries(answer.changes || {})) if (each) page.standing[item] = each; else delete page.standing[item];
  if (answer.revision && server) server.revision = answer.revision;
}
function saved(sent, whole, message) {
  page.standing = whole;
  settle(sent, { saved: true });
  redraw();
  drawSaveBar(message);
}
/* In the queue each decision is sent at once, where the page comes from the review server. */
let sending = false, sendAgain = false, retry = 0;
async function saveAtOnce() {
  clearTimeout(retry);
  if (queueAt < 0 || !server?.writable || !ROLE.test(author) || !Object.keys(edits).some((item) => !contested.has(item))) return;
  if (sending) { sendAgain = true; return; }
  sending = true;
  do {
    sendAgain = false;
    const decisions = decided(), wrong = wrongOf(decisions), before = structuredClone(edits);
    if (wrong) { drawSaveBar(wrong); break; }
    const answer = await send(decisions);
    adopt(answer);
    settle(before, answer);
    if (!answer.saved && !answer.conflicts) { drawSaveBar(answer.message); if (answer.later) retry = setTimeout(saveAtOnce, 4000); break; }
    drawSaveBar(answer.gone ? answer.message : undefined);
    say(answer.message);
  } while (sendAgain);
  sending = false;
}
/* What was sent stands now; what was decided since it was sent is still to be saved, and what another
   person decided otherwise waits for a word. */
const contested = new Set();
function settle(sent, answer) {
  const against = new Set(answer.conflicts || []), gone = new Set(answer.gone || []);
  if (!answer.saved && !answer.conflicts) return;
  for (const [item, each] of Object.entries(sent)) {
    if (contested.has(item) || gone.has(item)) continue;
    if (against.has(item)) { contested.add(item); continue; }
    delete spent[item];
    if (edits[item] && same(edits[item], each)) forget(item); else if (edits[item]) bases[item] = each;
    byItem.get(item)?.node?.classList.toggle("changed", item in edits);
  }
  remember();
}
/* Where a team reviews, what others decided comes in while one looks, and where they are. */
let others = {};
async function hear() {
  try {
    const reply = await fetch(`../session.json?since=${encodeURIComponent(server.revision)}&at=${encodeURIComponent(queueAt >= 0 ? queue[queueAt].item : "")}`);
    if (!reply.ok || sending) return;
    const news = await reply.json();
    adopt(news);
    others = news.others || {};
    const line = find(".panel h3", dialog);
    if (queueAt >= 0 && line) line.textContent = queueLine();
  } catch { /* asked again in a while */ }
}
async function meetServer() {
  if (!location.protocol.startsWith("http")) return;
  try {
    const reply = await fetch("../session.json");
    if (!reply.ok) return;
    server = await reply.json();
    page.standing = server.corrections;
    if (server.role) { author = server.role; setInterval(hear, 5000); }
    drawSaveBar(droppedWords());
  } catch { server = null; }
}

/* ---- addresses: #item=ID opens an item, #state=held lists a state ---- */
async function follow() {
  if (/^#(item|queue|state)=/.test(location.hash) && !whole) {
    try { await listed(); } catch { find("#all").scrollIntoView(); return; }
  }
  const [what, value] = decodeURIComponent(location.hash.slice(1)).split("=");
  if (what === "item" && value) show(value);
  else if (what === "queue" && queue.length) showQueued(Math.min(Math.max(Number(value) || 0, 0), queue.length - 1));
  else {
    if (open) closeItem();
    if (what === "state") {
      find("#by-state").value = value || "";
      filterCards();
      find("#all").scrollIntoView();
      find("#all").focus({ preventScroll: true });
    }
  }
}
window.addEventListener("hashchange", follow);
window.addEventListener("beforeprint", () => { all("img[loading]").forEach((image) => { image.loading = "eager"; }); all(".caution details").forEach((each) => { each.open = true; }); });
window.addEventListener("beforeunload", (event) => { if (Object.keys(edits).length && !remember()) event.preventDefault(); });
/* Lazy pictures and skipped parts get their height late: go to the asked part once more then. */
window.addEventListener("load", () => { const part = location.hash.slice(1); if (part && !part.includes("=")) document.getElementById(part)?.scrollIntoView(); });
Object.keys(edits).forEach(afterEdit);
if (whole) filterCards();
else {
  find("#shown").textContent = `the first ${cards.length} of ${page.count}`;
  find("#pages").hidden = false;
  if (Object.keys(edits).length) listed().catch(() => {});
  find("#find").addEventListener("focus", () => listed().catch(() => {}));
  const reached = new IntersectionObserver((seen) => { if (seen.some((each) => each.isIntersecting)) { reached.disconnect(); listed().catch(() => {}); } });
  reached.observe(find("#pages"));
}
drawSaveBar(droppedWords());
meetServer().finally(follow);
})();
