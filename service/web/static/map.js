// Draws a map from its JSON document: trees by size class, areas, targets, places, the list to be looked at.
// A page that wants to do more with the map listens to "bw-map-ready"; its detail is the BolewardMap.
"use strict";
(() => {
  const { el, svg, plain, Words, Trees, Warnings, mark, treeMark, swatch, INK, HALO } = window.boleward;
  const MAX_FOUND = 60, MAX_NAMED = 60;

  class BolewardMap extends Warnings {
    constructor(section, map, doc) {
      super();
      this.section = section;
      this.map = map;
      this.doc = doc;
      this.words = new Words(doc);
      this.trees = new Trees(doc);
      this.renderer = L.canvas({ padding: 0.3, tolerance: 5 });
      this.layers = new Map();
      this.busy = false;
      this.shade = doc.areas.some((area) => area.step.basal_area >= 0) ? "basal_area" : "none";
    }

    draw() {
      this.fit();
      this.addGround();
      this.addAreas();
      this.addTargets();
      this.addPlaces();
      this.addHazards();
      this.addTrees();
      this.addClosures();
      for (const layer of this.layers.values()) layer.group.addTo(this.map);
      this.map.on("zoomend", () => this.nameAreas());
      this.nameAreas();
      this.addFrame();
      this.section.querySelector(".bw-map-side").replaceChildren(this.side());
      this.section.classList.add("bw-map-ready");
      this.section.dispatchEvent(new CustomEvent("bw-map-ready", { bubbles: true, detail: this }));
      this.openFromAddress();
    }

    fit() {
      const box = this.doc.bounds;
      if (box === null) return this.sayNowhere();
      const bounds = L.latLngBounds([box[1], box[0]], [box[3], box[2]]);
      this.map.fitBounds(bounds, { animate: false, padding: [24, 24], maxZoom: this.doc.frame === "earth" ? 20 : 5 });
    }

    // Where nothing has a place yet there is no ground to show: a sentence stands there, not the whole world.
    sayNowhere() {
      if (this.doc.basemap) return;
      this.map.getContainer().hidden = true;
      const add = el("p", { className: "bw-nowhere" }, this.words.say("nowhere"));
      this.section.querySelector(".bw-map-ground").append(add);
      this.section.classList.add("bw-map-bare");
    }

    layer(key, label, group, { shown = true, count = null, legend = null } = {}) {
      this.layers.set(key, { label, group, shown, count, legend });
    }

    addGround() {
      const { basemap, plan_image: plan } = this.doc;
      if (basemap) {
        const tiles = L.tileLayer(basemap.url, { maxZoom: 22, maxNativeZoom: 19, className: "bw-tiles" });
        this.layer("basemap", this.words.say("basemap"), tiles);
      }
      if (plan) {
        const [west, south, east, north] = plan.bounds;
        const picture = L.imageOverlay(plan.url, [[south, west], [north, east]], { className: "bw-plan" });
        this.layer("plan", this.words.say("plan"), picture);
      }
    }

    addAreas() {
      this.shapes = [];
      const groups = new Map();
      this.doc.areas.forEach((area) => {
        const shape = L.geoJSON(area.geometry, { renderer: this.renderer, style: this.areaStyle(area) });
        shape.on("click", (event) => this.answer(event, () => this.openArea(area)));
        if (area.name !== null && area.kind !== "boundary" && this.doc.areas.length <= MAX_NAMED) {
          shape.bindTooltip(el("span", {}, area.name), { permanent: true, direction: "center", className: "bw-area-name" });
        }
        this.shapes.push({ area, shape });
        if (!groups.has(area.layer)) groups.set(area.layer, L.layerGroup());
        groups.get(area.layer).addLayer(shape);
      });
      for (const [name, group] of groups) {
        const legend = swatch({ shape: "patch", fill: null, stroke: INK });
        const said = name === "drawn" ? this.words.say("areas_drawn") : name ?? this.words.say("areas");
        this.layer("areas " + name, said, group, { count: group.getLayers().length, legend });
      }
    }

    areaStyle(area) {
      const step = this.shade === "none" || area.kind === "boundary" ? -1 : area.step[this.shade];
      const filled = step >= 0;
      return {
        color: INK, weight: area.kind === "boundary" ? 1.6 : 1,
        dashArray: area.kind === "boundary" ? "6 4" : null, opacity: 0.75,
        fill: true, fillColor: filled ? this.doc.shadings[this.shade].fills[step] : HALO,
        fillOpacity: filled ? 0.85 : 0.01,
      };
    }

    // An area's name is written where there is room for it.
    nameAreas() {
      for (const { area, shape } of this.shapes) {
        const name = shape.getTooltip()?.getElement();
        if (!name) continue;
        const box = shape.getBounds(), at = (corner) => this.map.latLngToContainerPoint(corner);
        const wide = at(box.getSouthEast()).x - at(box.getNorthWest()).x;
        name.classList.toggle("bw-no-room", wide < 6 * area.name.length + 16);
      }
    }

    shadeBy(quantity) {
      this.shade = quantity;
      for (const { area, shape } of this.shapes) shape.setStyle(this.areaStyle(area));
      this.steps.replaceChildren(...this.stepRows());
    }

    addTargets() {
      if (!this.doc.targets.length) return;
      const group = L.layerGroup();
      const sign = this.doc.signs.target;
      const style = { color: sign.stroke, weight: 2, opacity: 0.9, dashArray: "2 4", fillColor: sign.fill, fillOpacity: 0.08 };
      for (const target of this.doc.targets) {
        const shape = L.geoJSON(target.geometry, {
          renderer: this.renderer, style,
          pointToLayer: (_, at) => mark(at, sign, { renderer: this.renderer, shape: "square", fillOpacity: 0.2, weight: 2 }),
        });
        shape.on("click", (event) => this.answer(event, () => this.openTarget(target)));
        group.addLayer(shape);
        target.shape = shape;
      }
      this.layer("targets", this.words.say("targets"), group, { count: this.doc.targets.length, legend: swatch(sign) });
    }

    addPlaces() {
      if (!this.doc.places.length) return;
      const group = L.layerGroup();
      const sign = this.doc.signs.place;
      for (const place of this.doc.places) {
        const square = mark(L.latLng(place.y, place.x), sign, { renderer: this.renderer, weight: 1.4 });
        square.on("click", (event) => this.answer(event, () => this.openPlace(place)));
        group.addLayer(square);
      }
      this.layer("places", this.words.say("places_without_tree"), group, { count: this.doc.places.length, legend: swatch(sign) });
    }

    addTrees() {
      const living = L.featureGroup(), hollow = L.featureGroup(), dead = L.featureGroup(), look = L.featureGroup();
      this.unplaced = 0;
      for (let i = 0; i < this.trees.length; i++) {
        const at = this.trees.at(i);
        if (at === null) { this.unplaced++; continue; }
        const group = this.trees.isDead(i) ? dead : this.trees.columns.size_class[i] < 0 ? hollow : living;
        group.addLayer(treeMark(this.doc, this.trees, i, this.renderer));
        if (this.trees.flags(i, "sign").length) look.addLayer(this.ring(i, { weight: 2.2 }));
      }
      for (const group of [living, hollow, dead]) {
        group.on("click", (event) => this.answer(event, () => this.openTree(event.layer.options.tree)));
      }
      this.addTreeLayers(living, hollow, dead, look);
    }

    addTreeLayers(living, hollow, dead, look) {
      const add = (key, word, group, legend) => {
        const count = group.getLayers().length;
        if (count || key === "trees") this.layer(key, this.words.say(word), group, { count, legend });
      };
      const middle = this.doc.classes[Math.floor(this.doc.classes.length / 3)];
      add("trees", "trees", living, swatch({ shape: "circle", fill: middle.fill, stroke: INK, radius_px: 6 }));
      add("unmeasured", "unmeasured", hollow, swatch(this.doc.signs.unmeasured));
      add("dead", "dead", dead, swatch(this.doc.signs.dead));
      add("look", "look", look, swatch(this.doc.signs.look));
    }

    // Whether clicks belong to somebody else: to the drawing tool, or to a form that waits for a place.
    isBusy() {
      return this.busy || this.map.pm?.globalDrawModeEnabled() === true;
    }

    // A click goes on to the ground below, which must not take it for one of its own.
    answer(event, open) {
      if (this.isBusy()) return;
      event.originalEvent.bwTaken = true;
      open();
    }

    // A ring round a tree; it never takes the click.
    ring(i, options) {
      const number = this.trees.columns.size_class[i];
      const radius = (number < 0 ? 5 : this.doc.classes[number].radius_px) + 4;
      return mark(this.trees.at(i), { ...this.doc.signs.look, radius_px: radius },
        { renderer: this.renderer, interactive: false, ...options });
    }

    // -------------------------------------------------------------- frame: zoom, scale, north, attribution

    addFrame() {
      const words = this.words;
      L.control.zoom({ position: "topleft" }).addTo(this.map);
      L.control.scale({ metric: !words.us, imperial: words.us, maxWidth: 140 }).addTo(this.map);
      const north = svg("svg", { viewBox: "0 0 20 40", width: 20, height: 40, role: "img", "aria-label": words.say("north") },
        svg("path", { d: "M10 26 L10 3 M10 3 L5 13 M10 3 L15 13", fill: "none", stroke: INK, "stroke-width": 1.6 }),
        svg("path", { d: "M7 38 L7 30 L13 38 L13 30", fill: "none", stroke: INK, "stroke-width": 1.4 }));
      this.corner("topright", el("div", { className: "bw-north" }, north));
      this.corner("bottomright", el("div", { className: "bw-credit" }, ...this.credits()));
      this.map.getContainer().setAttribute("role", "region");
      this.map.getContainer().setAttribute("aria-label", words.say("map"));
      this.map.on("click", (event) => { if (!event.originalEvent.bwTaken && !this.isBusy()) this.close(); });
      this.card = el("div", { className: "bw-card", hidden: true, tabIndex: -1, onkeydown: (event) => {
        if (event.key === "Escape") this.close();
      } });
      this.section.querySelector(".bw-map-ground").append(this.card);
      const print = window.matchMedia("print");
      print.addEventListener("change", () => this.refit(print.matches));
      new ResizeObserver(() => this.map.invalidateSize({ animate: false })).observe(this.map.getContainer());
    }

    // Paper has another shape: what was seen on the screen is what is printed.
    refit(onPaper) {
      if (onPaper) this.seen = { bounds: this.map.getBounds(), centre: this.map.getCenter(), zoom: this.map.getZoom() };
      this.map.invalidateSize({ animate: false });
      if (onPaper) this.map.fitBounds(this.seen.bounds, { animate: false });
      else if (this.seen) this.map.setView(this.seen.centre, this.seen.zoom, { animate: false });
    }

    corner(position, node) {
      const Corner = L.Control.extend({ onAdd: () => node });
      new Corner({ position }).addTo(this.map);
    }

    credits() {
      const { basemap, attribution } = this.doc;
      const parts = [el("span", {}, this.words.say("as_of", { day: this.words.day(this.doc.as_of) }))];
      if (attribution) parts.push(el("span", {}, attribution));
      if (basemap?.attribution) {
        const link = /^https?:\/\//.test(basemap.attribution_url ?? "");
        parts.push(link ? el("a", { href: basemap.attribution_url, rel: "noreferrer" }, basemap.attribution)
          : el("span", {}, basemap.attribution));
      }
      return parts;
    }

    // -------------------------------------------------------------- side: search, legend, layers

    side() {
      return el("div", { className: "bw-side-inner" }, this.searchBox(), this.legend());
    }

    searchBox() {
      const words = this.words;
      const list = el("ul", { className: "bw-found" });
      const status = el("p", { className: "bw-status", role: "status" });
      let waiting = 0;
      const input = el("input", { type: "search", id: "bw-find", autocomplete: "off", oninput: () => {
        clearTimeout(waiting);
        waiting = setTimeout(() => this.showFound(plain(input.value.trim()), list, status), 120);
      }, onkeydown: (event) => {
        if (event.key !== "Enter") return;
        clearTimeout(waiting);
        this.showFound(plain(input.value.trim()), list, status);
        list.querySelector("button")?.click();
      } });
      return el("div", { className: "bw-search", role: "search" },
        el("label", { htmlFor: "bw-find" }, words.say("find")), input, status, list);
    }

    showFound(query, list, status) {
      list.replaceChildren();
      status.textContent = "";
      if (query === "") return;
      const hits = this.hits(query);
      const shown = hits.slice(0, MAX_FOUND);
      const key = !hits.length ? "found_none" : hits.length > shown.length ? "found_first" : "found";
      status.textContent = this.words.say(key, { n: this.words.number(hits.length, 0), shown: shown.length });
      list.replaceChildren(...shown.map(({ name, detail, open }) => {
        const button = el("button", { type: "button", onclick: () => open(button) },
          el("b", {}, name), detail ? el("span", {}, detail) : null);
        return el("li", {}, button);
      }));
    }

    hits(query) {
      const { doc, trees, words } = this;
      const hits = [];
      const has = (...texts) => texts.some((text) => text !== null && plain(text).includes(query));
      for (const area of doc.areas) {
        if (has(area.name)) hits.push({ name: area.name, detail: words.word("kind", area.kind), open: (from) => this.openArea(area, from) });
      }
      for (const target of doc.targets) {
        if (has(target.name)) hits.push({ name: target.name, detail: words.word("kind", target.kind), open: (from) => this.openTarget(target, from) });
      }
      hits.push(...this.warningHits(has));
      for (const place of doc.places) {
        if (has(place.name)) hits.push({ name: place.name, detail: words.word("kind", place.kind), open: (from) => this.openPlace(place, from) });
      }
      for (let i = 0; i < trees.length; i++) {
        if (!trees.found(i, query)) continue;
        const detail = [trees.kindOfTree(i), trees.text("place", i)].filter((text) => text !== null).join(", ");
        hits.push({ name: trees.text("tag", i) ?? words.say("no_tag"), detail, open: (from) => this.openTree(i, from) });
      }
      // The very name first, then those that begin with it.
      const rank = ({ name }) => { const text = plain(name); return text === query ? 0 : text.startsWith(query) ? 1 : 2; };
      return hits.map((hit) => [rank(hit), hit]).sort(([a], [b]) => a - b).map(([, hit]) => hit);
    }

    legend() {
      const words = this.words;
      const rows = [...this.layers.entries()].reverse().map(([key, layer]) => this.layerRow(key, layer));
      return el("div", { className: "bw-legend" },
        this.classRows(),
        el("fieldset", {}, el("legend", {}, words.say("show")), ...rows),
        this.shadingRows(),
        this.unplaced ? el("p", { className: "bw-note" }, words.say("without_position", { n: words.number(this.unplaced, 0) })) : null,
        words.doc.messages.caution ? el("p", { className: "bw-caution" }, words.doc.messages.caution) : null);
    }

    layerRow(key, layer) {
      const box = el("input", { type: "checkbox", checked: layer.shown, onchange: () => this.show(key, box.checked) });
      box.dataset.layer = key;
      return el("label", { className: "bw-row" }, box, layer.legend ?? el("span", { className: "bw-swatch" }),
        el("span", { className: "bw-row-text" }, layer.label),
        layer.count === null ? null : el("span", { className: "bw-count" }, this.words.number(layer.count, 0)));
    }

    show(key, shown) {
      const layer = this.layers.get(key);
      layer.shown = shown;
      if (shown) layer.group.addTo(this.map);
      else layer.group.remove();
      // One canvas takes all clicks, so areas must lie under the trees again: the largest lowest.
      if (key.startsWith("areas ")) {
        for (const { shape } of [...this.shapes].reverse()) if (this.map.hasLayer(shape)) shape.bringToBack();
      }
      this.closuresToFront();
    }

    classRows() {
      const words = this.words;
      const rows = this.doc.classes.map((size) => el("li", { className: "bw-row" },
        swatch({ shape: "circle", fill: size.fill, stroke: INK, radius_px: size.radius_px }),
        el("span", { className: "bw-row-text" }, size.label),
        el("span", { className: "bw-count" }, words.number(size.trees, 0))));
      return el("div", { className: "bw-classes" },
        el("h2", {}, words.say("size_classes", { height: words.breastHeight() })), el("ul", {}, ...rows));
    }

    shadingRows() {
      const words = this.words;
      const quantities = Object.keys(this.doc.shadings).filter((name) => this.doc.areas.some((area) => area.step[name] >= 0));
      if (!quantities.length) return null;
      this.steps = el("ul", { className: "bw-steps" }, ...this.stepRows());
      const choice = (name, text) => el("label", { className: "bw-row" },
        el("input", { type: "radio", name: "bw-shade", value: name, checked: this.shade === name, onchange: () => this.shadeBy(name) }),
        el("span", { className: "bw-row-text" }, text));
      return el("fieldset", {}, el("legend", {}, words.say("shade")),
        ...quantities.map((name) => choice(name, words.say("shade_" + name, { unit: words.unit(name) }))),
        choice("none", words.say("shade_none")), this.steps);
    }

    stepRows() {
      if (this.shade === "none") return [];
      const { breaks, fills } = this.doc.shadings[this.shade];
      return fills.map((fill, i) => {
        const from = i === 0 ? 0 : breaks[i - 1];
        const key = i < breaks.length ? "shade_between" : "shade_from";
        const text = this.words.say(key, { from: this.words.short(from), to: this.words.short(breaks[i] ?? 0) });
        return el("li", { className: "bw-row" }, swatch({ shape: "patch", fill, stroke: INK }), el("span", { className: "bw-row-text" }, text));
      });
    }
  }

  async function read(section) {
    const inline = section.dataset.inline;
    if (inline) return JSON.parse(document.getElementById(inline).textContent);
    const answer = await fetch(section.dataset.source, { headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Error(`${answer.status}`);
    return answer.json();
  }

  async function start(section) {
    try {
      const map = window[section.dataset.map];
      new BolewardMap(section, map, await read(section)).draw();
    } catch (error) {
      console.error(error);
      section.classList.add("bw-map-failed");
      section.querySelector(".bw-map-side").textContent = section.dataset.failed ?? "";
    }
  }

  const startAll = () => document.querySelectorAll(".bw-map").forEach(start);
  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", startAll);
  else startAll();
})();
