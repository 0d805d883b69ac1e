// Parts of the map: elements made of text, the words and numbers of a document, its coded columns.
// Everything that comes from the document is set as text, never as markup. No library but Leaflet.
"use strict";
window.boleward = (() => {
  const M_PER_FT = 0.3048;
  const PER_IN = 2.54, HA_PER_ACRE = 0.40468564224, FT2_PER_ACRE = 4.356;
  const INK = "#1d2a3a", HALO = "#ffffff";

  // ---------------------------------------------------------------- elements and words

  function el(tag, attributes, ...children) {
    const node = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes ?? {})) {
      if (value === null || value === undefined || value === false) continue;
      if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
      else if (name in node && name !== "list") node[name] = value;
      else node.setAttribute(name, value === true ? "" : value);
    }
    node.append(...children.filter((child) => child !== null && child !== undefined && child !== ""));
    return node;
  }

  const NS = "http://www.w3.org/2000/svg";
  function svg(tag, attributes, ...children) {
    const node = document.createElementNS(NS, tag);
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    node.append(...children);
    return node;
  }

  const plain = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();

  class Words {
    constructor(doc) {
      this.doc = doc;
      this.us = doc.units === "us";
      this.formats = new Map();
    }
    say(key, values = {}) {
      const text = this.doc.messages[key] ?? key;
      return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
    }
    // A word of the data in the reader's language; words that are not ours stay as they are.
    word(kind, value) {
      return value === null ? null : this.doc.messages[kind + "." + value] ?? value;
    }
    number(value, digits) {
      if (!this.formats.has(digits)) {
        const shape = { minimumFractionDigits: digits, maximumFractionDigits: digits };
        this.formats.set(digits, new Intl.NumberFormat(this.doc.lang, shape));
      }
      return this.formats.get(digits).format(value);
    }
    short(value) {
      return new Intl.NumberFormat(this.doc.lang, { maximumSignificantDigits: 6 }).format(value);
    }
    width(cm, digits = 1) {
      return this.us ? this.number(cm / PER_IN, digits) + " in" : this.number(cm, digits) + " cm";
    }
    // How many decimals pages show beside half an interval [cm]: it keeps one digit, two when it starts with a 1.
    digitsBeside(halfCm) {
      const half = this.us ? halfCm / PER_IN : halfCm;
      if (!(half > 0)) return 1;
      const power = Math.floor(Math.log10(half));
      return Math.min(Math.max(0, -power + (half / 10 ** power < 1.95 ? 1 : 0)), 6);
    }
    metres(m) {
      return this.us ? this.number(m / M_PER_FT, 1) + " ft" : this.number(m, 1) + " m";
    }
    breastHeight() {
      const m = this.doc.breast_height_m;
      if (!this.us) return this.number(m, 2) + " m";
      const tenths = Math.round((m / M_PER_FT) * 120), feet = Math.floor(tenths / 120), inches = (tenths % 120) / 10;
      return this.number(feet, 0) + " ft" + (inches ? " " + this.number(inches, Number.isInteger(inches) ? 0 : 1) + " in" : "");
    }
    // An ISO day as pages say it: 14 May 2024; text that is no day stays as it is.
    day(text) {
      const said = /^(\d{4})-(\d\d)-(\d\d)$/.exec(text ?? "");
      if (!said) return text;
      const date = new Date(Date.UTC(Number(said[1]), Number(said[2]) - 1, Number(said[3])));
      const shape = { day: "numeric", month: "long", year: "numeric", timeZone: "UTC" };
      return new Intl.DateTimeFormat(this.doc.lang, shape).format(date);
    }
    hectares(ha) {
      return this.us ? this.number(ha / HA_PER_ACRE, 2) + " " + this.say("acres")
        : this.number(ha, 2) + " " + this.say("ha");
    }
    unit(quantity) {
      return this.say("unit_" + quantity + (this.us ? "_us" : ""));
    }
    perGround(quantity, value) {
      const factor = !this.us ? 1 : quantity === "stems" ? HA_PER_ACRE : FT2_PER_ACRE;
      return value * factor;
    }
  }

  // ---------------------------------------------------------------- the document's coded columns

  class Trees {
    constructor(doc) {
      this.columns = doc.trees;
      this.length = doc.trees.tree_id.length;
      this.flagsOf = new Map();
      doc.flags.tree.forEach((tree, i) => {
        if (!this.flagsOf.has(tree)) this.flagsOf.set(tree, []);
        const cell = (name) => coded(doc.flags[name], i);
        this.flagsOf.get(tree).push({ kind: cell("kind"), words: cell("words"), evidence: cell("evidence") });
      });
      this.haystacks = null;
    }
    text(name, i) {
      return coded(this.columns[name], i);
    }
    number(name, i) {
      return this.columns[name]?.[i] ?? null;
    }
    at(i) {
      const x = this.columns.x[i], y = this.columns.y[i];
      return x === null || y === null ? null : L.latLng(y, x);
    }
    flags(i, kind) {
      return (this.flagsOf.get(i) ?? []).filter((flag) => flag.kind === kind);
    }
    isDead(i) {
      return this.text("status", i) === "dead";
    }
    kindOfTree(i) {
      return this.text("common_name", i) ?? this.text("scientific_name", i) ?? this.text("name_as_written", i);
    }
    found(i, query) {
      if (this.haystacks === null) this.haystacks = new Array(this.length);
      this.haystacks[i] ??= plain(
        ["tag", "place", "common_name", "scientific_name", "name_as_written"]
          .map((name) => this.text(name, i) ?? "").join("\n"));
      return this.haystacks[i].includes(query);
    }
  }

  function coded(column, i) {
    const code = column.codes[i];
    return code < 0 ? null : column.values[code];
  }

  // ---------------------------------------------------------------- small parts

  function facts(rows) {
    const list = el("dl", {});
    for (const [name, values, className] of rows) {
      const said = (values ?? []).filter((value) => value !== null && value !== undefined && value !== "");
      if (!said.length) continue;
      list.append(el("dt", {}, name), el("dd", { className: className ?? "" }, said[0],
        ...said.slice(1).map((value) => el("small", {}, " " + value))));
    }
    return list;
  }

  function flagList(flags) {
    return el("ul", { className: "bw-flags" }, ...flags.map((flag) => el("li", {}, flag.words ?? "",
      flag.evidence ? el("small", {}, flag.evidence) : null)));
  }

  function swatch(sign) {
    const r = Math.min(sign.radius_px ?? 6, 10.5), c = 12;
    const paint = { fill: sign.fill ?? "none", stroke: sign.stroke, "stroke-width": sign.shape === "ring" || sign.shape === "cross" ? 2 : 1 };
    const shapes = {
      circle: () => svg("circle", { cx: c, cy: c, r, ...paint }),
      ring: () => svg("circle", { cx: c, cy: c, r: 8, ...paint }),
      square: () => svg("rect", { x: c - 4, y: c - 4, width: 8, height: 8, ...paint }),
      patch: () => svg("rect", { x: 2, y: 5, width: 20, height: 14, ...paint }),
      cross: () => svg("path", { d: `M${c - 5} ${c - 5} L${c + 5} ${c + 5} M${c + 5} ${c - 5} L${c - 5} ${c + 5}`, ...paint }),
      dashes: () => svg("path", { d: `M2 ${c} L22 ${c}`, ...paint, "stroke-width": 3, "stroke-dasharray": "8 3 2 3" }),
      hatch: () => svg("path", { d: "M2 5 h20 v14 h-20 z M2 11 l6 -6 M2 18 l13 -13 M8 19 l14 -14 M15 19 l7 -7", ...paint, "stroke-width": 1.6 }),
      line: () => svg("path", { d: `M2 ${c} L22 ${c}`, ...paint, "stroke-width": 2, "stroke-dasharray": "2 4" }),
    };
    return svg("svg", { viewBox: "0 0 24 24", width: 24, height: 24, class: "bw-swatch", "aria-hidden": "true" }, shapes[sign.shape]());
  }

  return { el, svg, plain, Words, Trees, facts, flagList, swatch, INK, HALO };
})();
