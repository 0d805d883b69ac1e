// Marks of trees and places on the canvas: circles by size class, crosses, squares, rings.
"use strict";
(() => {
  const { INK, HALO } = window.boleward;

  // Marks shrink as the ground gets wide: full size where a pixel is half a metre or less.
  function shrink(map) {
    const zoom = map.getZoom();
    if (map._bwZoom !== zoom) {
      const from = map.containerPointToLatLng([0, 0]), to = map.containerPointToLatLng([100, 0]);
      const metresPerPixel = map.distance(from, to) / 100;
      map._bwShrink = Math.min(1.25, Math.max(0.28, Math.pow(0.5 / metresPerPixel, 0.4)));
      map._bwZoom = zoom;
    }
    return map._bwShrink;
  }

  const Mark = L.CircleMarker.extend({
    _project() {
      const scale = shrink(this._map);
      this._radius = this.options.radius * scale;
      this.line ??= this.options.weight;
      this.options.weight = this.line * Math.min(1, scale * 1.25);
      L.CircleMarker.prototype._project.call(this);
    },
    _updatePath() {
      const shape = this.options.shape;
      if (shape === "circle" || shape === "ring") L.CircleMarker.prototype._updatePath.call(this);
      else this._path(shape);
    },
    _path(shape) {
      const renderer = this._renderer, ctx = renderer._ctx;
      if (!renderer._drawing || this._empty()) return;
      const { x, y } = this._point, r = this._radius;
      ctx.beginPath();
      if (shape === "cross") {
        ctx.moveTo(x - r, y - r); ctx.lineTo(x + r, y + r);
        ctx.moveTo(x + r, y - r); ctx.lineTo(x - r, y + r);
      } else {
        ctx.rect(x - r, y - r, 2 * r, 2 * r);
      }
      renderer._fillStroke(ctx, this);
    },
  });

  function mark(at, sign, options) {
    return new Mark(at, {
      shape: sign.shape, radius: sign.radius_px, color: sign.stroke, weight: 1, opacity: 1,
      fill: sign.fill !== null, fillColor: sign.fill, fillOpacity: 1, ...options,
    });
  }

  function treeMark(doc, trees, i, renderer) {
    const dead = trees.isDead(i), number = trees.columns.size_class[i];
    if (dead) {
      const radius = number < 0 ? doc.signs.dead.radius_px : 3 + 0.4 * doc.classes[number].radius_px;
      return mark(trees.at(i), doc.signs.dead, { renderer, radius, weight: 1.8, tree: i, fill: false });
    }
    if (number < 0) {
      // Hollow, yet clickable in its middle.
      return mark(trees.at(i), doc.signs.unmeasured, { renderer, weight: 1.4, tree: i, fill: true, fillOpacity: 0.01, fillColor: HALO });
    }
    const size = doc.classes[number];
    return new Mark(trees.at(i), {
      renderer, shape: "circle", radius: size.radius_px, color: INK, weight: 1,
      fillColor: size.fill, fillOpacity: 0.95, tree: i,
    });
  }

  Object.assign(window.boleward, { mark, treeMark });
})();
