// The card of a tree, an area, a target or a place: what is known, how well, and what is to be looked at.
"use strict";
(() => {
  const { el, facts, flagList, INK } = window.boleward;

  class Cards {
    open(heading, parts, at, from) {
      this.opener = from ?? null;
      const close = el("button", { type: "button", className: "bw-close", onclick: () => this.close() }, this.words.say("close"));
      this.card.replaceChildren(close, el("h2", {}, heading), ...parts.filter((part) => part !== null));
      this.card.hidden = false;
      this.card.scrollTop = 0;
      this.halo?.remove();
      if (from) {
        if (at) this.map.setView(at, Math.max(this.map.getZoom(), this.doc.frame === "earth" ? 18 : 2), { animate: false });
        this.card.focus();
      }
      if (at) this.keepClear(at);
    }

    // Moves the ground so that what the card tells of is not under the card.
    keepClear(at) {
      const size = this.map.getSize(), point = this.map.latLngToContainerPoint(at);
      const card = this.card, right = card.offsetLeft + card.offsetWidth;
      const covers = point.x < right + 20 && point.y > card.offsetTop - 20 && point.y < card.offsetTop + card.offsetHeight + 20;
      if (!covers) return;
      const free = right > size.x - 20 ? L.point(size.x / 2, card.offsetTop / 2) : L.point((right + size.x) / 2, point.y);
      this.map.panBy(point.subtract(free), { animate: false });
    }

    close() {
      if (this.card.hidden) return;
      this.card.hidden = true;
      this.halo?.remove();
      this.opener?.focus();
    }

    openTree(i, from) {
      const { trees, words } = this;
      const at = trees.at(i);
      this.open(trees.text("tag", i) ?? words.say("no_tag"), [
        this.nameLine(i),
        ...this.closedParts(i),
        at ? null : el("p", { className: "bw-note" }, words.say("not_on_map")),
        facts(this.treeFacts(i)),
        ...this.flagParts(i),
        this.treeLink(i),
      ], at, from);
      if (at) this.halo = this.ring(i, { color: INK, weight: 1.5, dashArray: "3 3" }).addTo(this.map);
    }

    nameLine(i) {
      const { trees, words } = this;
      const common = trees.text("common_name", i), scientific = trees.text("scientific_name", i);
      const written = trees.text("name_as_written", i);
      if (common === null && scientific === null) return el("p", { className: "bw-name" }, written ?? words.say("no_name"));
      return el("p", { className: "bw-name" }, common ?? "", common && scientific ? ", " : "", scientific ? el("i", {}, scientific) : null);
    }

    treeFacts(i) {
      const { trees, words, doc } = this;
      const dbh = trees.number("dbh_cm", i), se = trees.number("dbh_se_cm", i);
      const number = trees.columns.size_class[i];
      const half = se === null ? null : se * doc.half_width, digits = half === null ? 1 : words.digitsBeside(half);
      const size = dbh === null ? words.say("not_measured") : words.width(dbh, digits);
      const error = dbh === null || half === null ? null : words.say("give_or_take", { error: words.width(half, digits) });
      const measure = (name, source) => {
        const value = trees.number(name, i);
        return value === null ? null : [words.metres(value), trees.text(source, i)];
      };
      const stems = trees.number("stems", i);
      return [
        [words.say("size", { height: words.breastHeight() }), [size, error], "bw-size"],
        [words.say("measured_as"), [trees.text("measured_as", i)]],
        [words.say("size_class"), [number < 0 ? trees.text("class_said", i) : doc.classes[number].label]],
        [words.say("trunks"), [stems > 1 ? words.number(stems, 0) : null]],
        [words.say("place"), [trees.text("place", i)]],
        [words.say("state"), [trees.text("status", i) === "living" ? null : words.word("status", trees.text("status", i))]],
        [words.say("height"), measure("height_m", "height_source")],
        [words.say("crown"), measure("crown_diameter_m", "crown_source")],
        [words.say("growth"), [trees.text("growth_words", i)]],
        [words.say("last_measured"), [words.day(trees.text("last_measured_on", i))]],
        [words.say("keeper"), [words.word("keeper", trees.text("keeper", i))]],
      ];
    }

    flagParts(i) {
      const { trees, words } = this;
      const signs = trees.flags(i, "sign");
      const looked = words.say("last_looked", { day: words.day(trees.text("last_inspected_on", i)) ?? words.say("never") });
      const unasked = trees.number("questions_not_askable", i);
      const parts = [el("h3", {}, words.say("look_heading"))];
      parts.push(signs.length ? flagList(signs) : el("p", {}, words.say("nothing_recorded")));
      parts.push(el("p", {}, looked));
      if (unasked) parts.push(el("p", {}, words.say("not_askable", { n: words.number(unasked, 0) })));
      for (const [kind, heading] of [["circumstance", "circumstance_heading"], ["gap", "gap_heading"]]) {
        const flags = trees.flags(i, kind);
        if (flags.length) parts.push(el("h3", {}, words.say(heading)), flagList(flags));
      }
      return parts;
    }

    treeLink(i) {
      const pattern = this.doc.tree_url;
      if (!pattern || !/^(https?:\/)?\//.test(pattern)) return null;
      const href = pattern.replace("{tree_id}", () => encodeURIComponent(this.trees.columns.tree_id[i]));
      return el("p", {}, el("a", { href, className: "bw-open" }, this.words.say("open_tree")));
    }

    openArea(area, from) {
      const { words } = this;
      const se = area.basal_area_se_m2_per_ha;
      const per = (quantity, value, digits) => value === null ? words.say("cannot_be_said")
        : words.number(words.perGround(quantity, value), digits) + " " + words.unit(quantity);
      const error = se === null ? null : words.say("give_or_take", { error: words.number(words.perGround("basal_area", se * this.doc.half_width), 2) });
      const shape = this.shapes.find((one) => one.area === area).shape;
      if (from) this.map.fitBounds(shape.getBounds(), { animate: false });
      this.open(area.name ?? "", [facts([
        [words.say("kind"), [words.word("kind", area.kind)]],
        [words.say("use"), [words.word("use", area.use)]],
        [words.say("area"), [area.area_ha === null ? null : words.hectares(area.area_ha)]],
        [words.say("trees_counted"), [area.trees === null ? null : words.number(area.trees, 0)]],
        [words.say("look"), [area.to_be_looked_at === null ? null : words.number(area.to_be_looked_at, 0)]],
        [words.say("stems"), [per("stems", area.stems_per_ha, 1)]],
        [words.say("basal_area"), [per("basal_area", area.basal_area_m2_per_ha, 2), error]],
      ])], null, from);
    }

    openTarget(target, from) {
      const { words } = this;
      if (from) this.map.fitBounds(target.shape.getBounds(), { animate: false, maxZoom: this.doc.frame === "earth" ? 19 : 3 });
      this.open(target.name ?? words.word("kind", target.kind) ?? "", [facts([
        [words.say("kind"), [words.word("kind", target.kind)]],
        [words.say("use"), [words.word("use", target.use)]],
      ])], null, from);
    }

    openPlace(place, from) {
      const { words } = this;
      this.open(place.name ?? words.word("kind", place.kind), [facts([[words.say("kind"), [words.word("kind", place.kind)]]])],
        L.latLng(place.y, place.x), from);
    }

    openFromAddress() {
      const id = decodeURIComponent((location.hash.match(/^#tree=(.+)$/) ?? [null, ""])[1]);
      const i = id === "" ? -1 : this.trees.columns.tree_id.indexOf(id);
      if (i >= 0) this.openTree(i, this.map.getContainer());
    }
  }

  window.boleward.Cards = Cards;
})();
