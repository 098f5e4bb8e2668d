/* The take-away map: draws what the data block holds on the map that the page made. Words go in as text, never as markup. */
(function (map, scene) {
  "use strict";
  const rows = document.querySelectorAll("#trees tbody tr");
  const heads = [...document.querySelectorAll("#trees thead th")].map((cell) => cell.textContent);
  const svg = (pane) => L.svg({ pane, padding: 0.5 });
  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const place = (shape) => shape.map((ring) => ring.map(([x, y]) => [scene.origin[0] + y * 1e-7, scene.origin[1] + x * 1e-7]));
  const element = (tag, words) => { const made = document.createElement(tag); made.textContent = words; return made; };

  const panes = {};
  ["shade", "contours", "keepouts", "paper", "cells", "hatch", "outline", "runs", "edges", "beaten", "chosen"].forEach((name, index) => {
    map.createPane(name).style.zIndex = 290 + 10 * index;
    if (name !== "cells") map.getPane(name).style.pointerEvents = "none";
    panes[name] = name === "cells" ? L.canvas({ pane: name, padding: 0.5, tolerance: 6 }) : name === "shade" ? null : svg(name);
  });
  const shape = (rings, pane, className) =>
    L.polygon(rings, { pane, renderer: panes[pane], className, interactive: false, smoothFactor: 0, weight: null, color: null, fillColor: null,
      opacity: null, fillOpacity: null, fill: true, stroke: true });
  const name = (at, words, kind) => {
    const icon = L.divIcon({ className: kind === "rank" ? "rank" : `name ${kind}`, html: element("span", words), iconSize: [0, 0] });
    return L.marker([scene.origin[0] + at[1] * 1e-7, scene.origin[1] + at[0] * 1e-7], { icon, interactive: false, keyboard: false });
  };

  const relief = L.layerGroup();
  if (scene.relief) {
    L.imageOverlay(scene.relief.image, scene.relief.bounds, { pane: "shade", alt: "", interactive: false }).addTo(relief);
    scene.relief.contours.forEach(([index, line]) => L.polyline(place([line]), { pane: "contours", renderer: panes.contours,
      className: index ? "contour index" : "contour", interactive: false, weight: null, color: null, opacity: null }).addTo(relief));
    scene.relief.heights.forEach((one) => name(one.at, one.words, "height").addTo(relief));
  }
  const points = L.layerGroup();
  scene.points.forEach((one) => {
    const drawn = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    ["mark-casing", "mark-line"].forEach((kind) => {
      const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
      use.setAttribute("href", `#mark-${one.kind}`);
      use.setAttribute("class", kind);
      drawn.append(use);
    });
    const icon = L.divIcon({ className: "point", html: drawn, iconSize: [0, 0] });
    L.marker(name(one.at, "", "").getLatLng(), { icon, interactive: false, keyboard: false }).addTo(points);
    name(one.at, one.name, "spot").addTo(points);
  });

  const keepOuts = L.layerGroup();
  scene.setbacks.forEach((polygon) => shape(place(polygon), "keepouts", "setback-shape").addTo(keepOuts));
  scene.setbacks.forEach((polygon) => shape(place(polygon), "edges", "setback-edge").addTo(keepOuts));
  scene.keepOuts.forEach((one) => {
    if (one.kind === "water" || one.kind === "bush") shape(place(one.shape), "keepouts", `${one.kind}-base`).addTo(keepOuts);
    shape(place(one.shape), "keepouts", ["water", "bush", "dwelling"].includes(one.kind) ? `${one.kind}-shape` : "other-shape").addTo(keepOuts);
    name(one.at, one.name, one.kind === "water" || one.kind === "bush" ? "ground" : "ground below").addTo(keepOuts);
  });
  const blocks = L.layerGroup();
  const blockNames = [];
  scene.blocks.forEach((one) => {
    shape(place(one.shape), "paper", "paper-shape").addTo(blocks);
    shape(place(one.shape), "outline", "outline-shape").addTo(blocks);
    const label = name(one.at, one.name, "").addTo(blocks);
    label.places = [["", label.getLatLng()], ["under", name(one.under, "", "").getLatLng()]];
    blockNames.push(label);
  });

  const mixed = (colour) => {
    const paper = css("--paper");
    const channel = (text, at) => parseInt(text.slice(at, at + 2), 16);
    return `rgb(${[1, 3, 5].map((at) => Math.round(scene.doubtfulShare * channel(colour, at) + (1 - scene.doubtfulShare) * channel(paper, at)))})`;
  };
  const look = (tree) => {
    const colour = tree.known === 2 ? "#000000" : tree.known === 1 ? mixed(scene.colours[tree.colour]) : scene.colours[tree.colour];
    return { fillColor: colour, color: colour, fillOpacity: tree.known === 2 ? 0 : 1, stroke: tree.known !== 2, weight: 0.5 };
  };
  const cells = L.layerGroup();
  const trees = scene.trees.map(([corners, colour, known], index) => {
    const ring = [];
    for (let i = 0; i < corners.length; i += 2) ring.push([corners[i], corners[i + 1]]);
    const tree = { colour, known, index, rings: place([ring]) };
    tree.cell = L.polygon(tree.rings, { pane: "cells", renderer: panes.cells, smoothFactor: 0, fill: true, ...look(tree) }).addTo(cells);
    tree.cell.on("click", (event) => { choose(tree); L.DomEvent.stopPropagation(event); });
    return tree;
  });
  const hatch = L.layerGroup();
  [["doubtful", 1], ["unknown", 2]].forEach(([word, known]) => {
    const those = trees.filter((tree) => tree.known === known).map((tree) => tree.rings);
    if (those.length) shape(those, "hatch", `hatch-${word}`).addTo(hatch);
  });
  const pressure = L.layerGroup([cells, hatch]);

  const beaten = L.layerGroup();
  scene.beaten.forEach(([x, y]) => L.circleMarker([scene.origin[0] + y * 1e-7, scene.origin[1] + x * 1e-7],
    { pane: "beaten", renderer: panes.beaten, radius: 3, className: "beaten", interactive: false, fillOpacity: 1 }).addTo(beaten));
  const runs = L.layerGroup();
  scene.runs.forEach((polygon) => shape(place(polygon), "runs", "run-casing").addTo(runs));
  scene.runs.forEach((polygon) => shape(place(polygon), "runs", "run-frame").addTo(runs));
  const spots = L.layerGroup();
  scene.hotSpots.forEach((one) => name(one.at, String(one.rank), "rank").addTo(spots));

  const layers = [["Hill shade and contours", relief, scene.relief], ["Gates and refill points", points, scene.points.length],
    ["Keep-outs and setbacks", keepOuts, scene.keepOuts.length], ["Blocks", blocks, 1], ["Expected count", pressure, trees.length],
    ["Beaten trees", beaten, scene.beaten.length], ["Hot spots", spots, scene.hotSpots.length], ["Runs", runs, scene.runs.length]];
  const shown = {};
  layers.forEach(([words, layer, some]) => { if (some) { layer.addTo(map); shown[words] = layer; } });
  const control = (position, node) => { const made = L.control({ position }); made.onAdd = () => node; made.addTo(map); };
  control("topright", document.getElementById("north"));
  L.control.layers(null, shown, { collapsed: true, position: "topright" }).addTo(map);
  L.control.scale({ imperial: false, maxWidth: 160 }).addTo(map);
  if (scene.attribution) { const note = element("div", scene.attribution); note.className = "note"; control("bottomright", note); }

  let marks = [];
  function choose(tree) {
    marks.forEach((mark) => mark.remove());
    document.querySelectorAll("tr.chosen").forEach((row) => row.classList.remove("chosen"));
    const row = rows[tree.index];
    row.classList.add("chosen");
    marks = ["chosen-casing", "chosen-frame"].map((kind) => shape(tree.rings, "chosen", kind).addTo(map));
    const words = [...row.cells].map((cell) => cell.textContent);
    const box = document.createElement("div");
    box.append(element("strong", `${words[0]}, row ${words[1]}, tree ${words[2]}`));
    for (let i = 3; i < words.length; i += 1) if (words[i]) box.append(element("div", `${heads[i]}: ${words[i]}`));
    L.popup({ maxWidth: 300, autoPanPadding: [12, 12] }).setLatLng(tree.cell.getBounds().getCenter()).setContent(box).openOn(map);
    document.getElementById("said").textContent = box.textContent;
  }
  document.getElementById("find").addEventListener("submit", (event) => {
    event.preventDefault();
    const wanted = new FormData(event.target);
    const at = [...rows].findIndex((row) => ["block", "row", "tree"].every((key, cell) => row.cells[cell].textContent === String(wanted.get(key)).trim()));
    const said = document.getElementById("said");
    if (at < 0) { said.textContent = "No such tree. Look at the table for the rows and trees of this block."; return; }
    document.getElementById("map_grove").scrollIntoView({ block: "nearest" });
    choose(trees[at]);
  });
  const recolour = () => trees.forEach((tree) => tree.cell.setStyle(look(tree)));
  ["(prefers-color-scheme: dark)", "(prefers-contrast: more)"].forEach((query) => matchMedia(query).addEventListener("change", recolour));
  const [south, west, north, east] = scene.bounds;
  const fit = () => map.fitBounds([[south, west], [north, east]], { paddingTopLeft: [16, 40], paddingBottomRight: [16, 40], animate: false });
  fit();
  // Until the grower moves the map, it keeps the whole grove in view when its frame changes (a turned phone).
  let moved = false;
  ["mousedown", "touchstart", "wheel", "keydown"].forEach((kind) => map.getContainer().addEventListener(kind, () => { moved = true; }, { passive: true }));
  new ResizeObserver(() => { map.invalidateSize({ animate: false }); if (!moved) fit(); }).observe(map.getContainer());

  // A name that would lie on another goes below its block, or is left out until there is room: ranks first, then blocks.
  const clear = () => {
    const taken = [];
    const free = (node) => {
      const box = node.firstChild.getBoundingClientRect();
      if (taken.some((other) => box.left < other.right && other.left < box.right && box.top < other.bottom && other.top < box.bottom)) return false;
      taken.push(box);
      return true;
    };
    const all = (kind) => map.getContainer().querySelectorAll(kind);
    all(".rank").forEach((node) => taken.push(node.firstChild.getBoundingClientRect()));
    blockNames.filter((label) => label.getElement()).forEach((label) => {
      const node = label.getElement();
      const found = label.places.some(([kind, at]) => { label.setLatLng(at); node.classList.toggle("under", kind === "under"); return free(node); });
      node.style.visibility = found ? "" : "hidden";
    });
    all(".point").forEach((node) => taken.push(node.firstChild.lastChild.getBoundingClientRect()));
    const outlines = [...all(".outline-shape")];
    const onBlock = (box) => outlines.some((path) => {
      const inverse = path.getScreenCTM().inverse();
      return [box.left, (box.left + box.right) / 2, box.right].some((x) => [box.top, box.bottom].some((y) =>
        path.isPointInFill(new DOMPoint(x, y).matrixTransform(inverse))));
    });
    all(".name.spot").forEach((node) => {
      const found = ["", "above", "left", "right"].some((side) => {
        node.dataset.side = side;
        const box = node.firstChild.getBoundingClientRect(), frame = map.getContainer().getBoundingClientRect();
        return box.left >= frame.left && box.right <= frame.right && !onBlock(box) && free(node);
      });
      node.style.visibility = found ? "" : "hidden";
    });
    all(".name.ground, .name.height").forEach((node) => { node.style.visibility = free(node) ? "" : "hidden"; });
  };
  map.on("zoomend viewreset resize overlayadd overlayremove", clear);
  requestAnimationFrame(clear);
  document.documentElement.dataset.ready = String(trees.length);
})(map_grove, JSON.parse(document.getElementById("scene").textContent));
