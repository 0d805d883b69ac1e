// What people are kept out of, hatched on top of everything, and hazards as a layer of their own.
"use strict";
(() => {
  const { el, facts, swatch, mark, Cards, INK, HALO } = window.boleward;
  const STEP = 10;

  // A pattern of slanting lines; the same on screens of any resolution, and on paper.
  function hatching() {
    const tile = document.createElement("canvas");
    tile.width = tile.height = STEP;
    const ctx = tile.getContext("2d");
    ctx.strokeStyle = INK;
    ctx.lineWidth = 1.6;
    for (const shift of [-STEP, 0, STEP]) {
      ctx.beginPath();
      ctx.moveTo(shift, STEP);
      ctx.lineTo(shift + STEP, 0);
      ctx.stroke();
    }
    return ctx.createPattern(tile, "repeat");
  }

  // A hatched polygon answers clicks on its edge only: what lies below it can still be reached.
  function onlyItsEdge(shape) {
    shape.eachLayer((part) => {
      if (part instanceof L.Polygon) part._containsPoint = (at) => L.Polyline.prototype._containsPoint.call(part, at, true);
    });
    return shape;
  }

  class Warnings extends Cards {
    addHazards() {
      if (!this.doc.hazards.length) return;
      const group = L.layerGroup(), sign = this.doc.signs.hazard;
      const style = { color: sign.stroke, weight: 3, opacity: 0.9, dashArray: "10 4 2 4", fillColor: sign.fill, fillOpacity: 0.06 };
      for (const hazard of this.doc.hazards) {
        const shape = L.geoJSON(hazard.geometry, {
          renderer: this.renderer, style,
          pointToLayer: (_, at) => mark(at, sign, { renderer: this.renderer, shape: "square", fillOpacity: 0.3, weight: 2.5 }),
        });
        shape.on("click", (event) => this.answer(event, () => this.openHazard(hazard)));
        group.addLayer(shape);
        hazard.shape = shape;
      }
      this.layer("hazards", this.words.say("hazards"), group, { count: this.doc.hazards.length, legend: swatch(sign) });
    }

    addClosures() {
      this.closed = [];
      const drawn = this.doc.closures.filter((closure) => closure.geometry);
      if (!drawn.length) return;
      const group = L.layerGroup(), sign = this.doc.signs.closure, fillColor = hatching();
      for (const closure of drawn) {
        const halo = { renderer: this.renderer, interactive: false, style: { color: HALO, weight: 7, opacity: 0.9, fill: false } };
        const style = { color: sign.stroke, weight: 3.5, opacity: 1, fill: true, fillColor, fillOpacity: 0.75 };
        const under = L.geoJSON(closure.geometry, halo);
        const shape = onlyItsEdge(L.geoJSON(closure.geometry, { renderer: this.renderer, style }));
        shape.on("click", (event) => this.answer(event, () => this.openClosure(closure)));
        group.addLayer(under).addLayer(shape);
        closure.shape = shape;
        this.closed.push(under, shape);
      }
      this.layer("closures", this.words.say("closures"), group, { count: drawn.length, legend: swatch(sign) });
    }

    // Whatever is switched on later lies below.
    closuresToFront() {
      if (!this.layers.get("closures")?.shown) return;
      for (const shape of this.closed) shape.bringToFront();
    }

    warningHits(has) {
      const hits = [];
      for (const closure of this.doc.closures) {
        if (closure.geometry && has(closure.name)) hits.push({ name: closure.name, detail: this.words.say("closures"), open: (from) => this.openClosure(closure, from) });
      }
      for (const hazard of this.doc.hazards) {
        const kind = this.words.word("hazard", hazard.kind);
        if (has(kind, hazard.note)) hits.push({ name: kind, detail: hazard.note, open: (from) => this.openHazard(hazard, from) });
      }
      return hits;
    }

    closedParts(i) {
      return this.doc.closures.filter((closure) => closure.trees.includes(i))
        .map((closure) => el("p", { className: "bw-closed" }, this.closedWords(closure)));
    }

    closedWords(closure) {
      return this.words.say("closed_since", { day: this.words.day(closure.from_on), name: closure.name });
    }

    openClosure(closure, from) {
      const { words } = this;
      if (from) this.map.fitBounds(closure.shape.getBounds(), { animate: false, maxZoom: this.doc.frame === "earth" ? 19 : 3 });
      this.open(closure.name, [el("p", { className: "bw-closed" }, this.closedWords(closure)), facts([
        [words.say("closed_why"), [closure.why]],
        [words.say("closed_marked"), [closure.how_marked]],
        [words.say("closed_reopen"), [closure.who_may_reopen]],
        [words.say("trees_counted"), [words.number(closure.trees.length, 0)]],
      ])], null, from);
    }

    openHazard(hazard, from) {
      const { words } = this;
      if (from) this.map.fitBounds(hazard.shape.getBounds(), { animate: false, maxZoom: this.doc.frame === "earth" ? 19 : 3 });
      this.open(words.word("hazard", hazard.kind), [facts([
        [words.say("note"), [hazard.note]],
        [words.say("hazard_ask"), [hazard.ask]],
      ])], null, from);
    }
  }

  window.boleward.Warnings = Warnings;
})();
