"use strict";
(() => {
  // what is shown; a page has it once, a desk loads another one whenever it changes
  let D = null;
  const TAU = 2 * Math.PI, by = (id) => document.getElementById(id);
  const DASHES = [[], [7, 3], [2, 2.5]];
  const ink = (i) => D.inks[i % D.inks.length], dash = (i) => DASHES[Math.floor(i / D.inks.length) % DASHES.length];
  const tone = (name) => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  const SVG = "http://www.w3.org/2000/svg";

  // Every text goes in as text, never as markup.
  function el(tag, facts, ...inside) {
    const made = document.createElement(tag);
    for (const [key, value] of Object.entries(facts || {})) made.setAttribute(key, value);
    for (const one of inside) made.append(one);
    return made;
  }
  function draw(tag, facts, text) {
    const made = document.createElementNS(SVG, tag);
    for (const [key, value] of Object.entries(facts)) made.setAttribute(key, value);
    if (text !== undefined) made.textContent = text;
    return made;
  }
  const named = (craft) => {
    const name = D.craft[craft], shown = el("bdi", {}, short(name, 80));
    if (name.length > 80) shown.title = name;
    return [el("span", {class: "swatch", style: `background:${ink(craft)}`}), shown];
  };
  function span(s) {
    const m = Math.round(Math.abs(s) / 60), d = Math.floor(m / 1440), h = Math.floor((m % 1440) / 60);
    return (s < 0 ? "-" : "") + (d ? `${d} d ` : "") + (d || h ? `${h} h ` : "") + `${m % 60} min`;
  }
  function said(s) {
    if (D.epoch_ms === null) return span(s) + " from the epoch";
    return new Date(D.epoch_ms + s * 1000).toISOString().replace("T", " ").slice(0, 19) + " UTC (" + span(s) + ")";
  }

  // ---- where a craft is: Kepler's equation on the conic between two burns
  function kepler(mean, e) {
    let anomaly = mean + e * Math.sin(mean) * (1 + e * Math.cos(mean));
    for (let i = 0; i < 12; i++) {
      const step = (anomaly - e * Math.sin(anomaly) - mean) / (1 - e * Math.cos(anomaly));
      anomaly -= step;
      if (Math.abs(step) < 1e-13) break;
    }
    return anomaly;
  }
  function onConic([, from, , a, e, toward, mean0], t) {
    const n = Math.sqrt(D.ring.gm_km3_s2 / (a * a * a));
    const anomaly = kepler((mean0 + n * (t - from)) % TAU, e);
    const x = Math.cos(anomaly) - e, y = Math.sqrt(1 - e * e) * Math.sin(anomaly);
    return [a * (1 - e * Math.cos(anomaly)), toward + Math.atan2(y, x)];
  }
  const slotAngle = (slot) => D.ring.ahead_rad[slot];
  /** Radius, km, and angle ahead of slot 0 of its plane; null before the craft flies by itself. */
  function place(part, t) {
    if (t >= part.in_slot_s || !part.stretches.length) return [D.ring.radius_km, slotAngle(part.slot)];
    for (const one of part.stretches) {
      if (t >= one[1] && t <= one[2]) {
        const [r, angle] = onConic(one, t);
        return [r, angle - part.phase_rad - D.ring.rate_rad_s * t];
      }
    }
    return null;
  }
  let sampled = new Map();
  /** A part's way as drawn: for each stretch, whether it phases, and points [time, radius km, angle ahead]. */
  function ways(part) {
    if (sampled.has(part)) return sampled.get(part);
    const found = [];
    for (const one of part.stretches) {
      const [stage, from, to, a, e] = one;
      if (stage === "slot") continue;
      const turn = TAU * Math.sqrt(a * a * a / D.ring.gm_km3_s2);
      const since = stage === "phasing" ? from : Math.max(from, to - Math.min(turn, TAU / D.ring.rate_rad_s));
      const count = Math.min(6000, Math.max(24, Math.ceil((to - since) / turn * 110 * (1 + 2 * e))));
      const points = [];
      for (let i = 0; i <= count; i++) {
        const t = since + (to - since) * i / count, [r, angle] = onConic(one, t);
        points.push([t, r, angle - part.phase_rad - D.ring.rate_rad_s * t]);
      }
      found.push({phasing: stage === "phasing", points});
    }
    sampled.set(part, found);
    return found;
  }
  const partsOf = (plan) => plan.parts.map((i) => D.parts[i]);

  // ---- pictures on a canvas: what stands still is drawn once, what moves on top of it
  function canvas(label, height, most) {
    const made = el("canvas", {role: "img", "aria-label": label});
    made.tall = height; made.most = most || 520;
    return made;
  }
  function sized(view) {
    const wide = Math.max(260, view.clientWidth || 600), tall = Math.round(Math.min(wide * view.tall, view.most));
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    if (view.width !== Math.round(wide * ratio) || view.height !== Math.round(tall * ratio)) { view.width = Math.round(wide * ratio); view.height = Math.round(tall * ratio); }
    return [wide, tall, ratio];
  }
  function still(view, paint) {
    const [wide, tall, ratio] = sized(view);
    const layer = document.createElement("canvas");
    layer.width = view.width; layer.height = view.height;
    const pen = layer.getContext("2d");
    pen.scale(ratio, ratio); pen.font = "12px Charter, 'DejaVu Serif', Georgia, serif"; pen.lineJoin = "round";
    paint(pen, wide, tall);
    view.layer = layer;
  }
  function moving(view, dots) {
    if (!view.layer) return;
    const pen = view.getContext("2d"), ratio = view.width / Math.max(260, view.clientWidth || 600);
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.clearRect(0, 0, view.width, view.height);
    pen.drawImage(view.layer, 0, 0);
    pen.scale(ratio, ratio);
    const size = dots.length > 24 ? 3 : 4.5;
    for (const [x, y, color, flash] of dots) {
      if (flash > 0) {
        pen.beginPath(); pen.arc(x, y, 5 + 12 * (1 - flash), 0, TAU);
        pen.strokeStyle = color; pen.lineWidth = 2 * flash; pen.stroke();
      }
      pen.beginPath(); pen.arc(x, y, size, 0, TAU);
      pen.fillStyle = color; pen.fill(); pen.strokeStyle = tone("paper"); pen.lineWidth = 1.5; pen.stroke();
    }
  }
  function line(pen, points, craft, phasing) {
    pen.beginPath();
    points.forEach(([x, y, lift], i) => (i && !lift ? pen.lineTo(x, y) : pen.moveTo(x, y)));
    pen.strokeStyle = ink(craft); pen.lineWidth = phasing ? 1.3 : 0.8;
    pen.setLineDash(phasing ? dash(craft) : [1.5, 2.5]); pen.stroke(); pen.setLineDash([]);
  }
  function slotLabels(plane) {
    const names = Array(D.ring.slots).fill(null);
    for (const kept of D.kept) if (kept.plane === plane) names[kept.slot] = kept.name;
    return names;
  }

  class Panel {
    constructor(home, plan, plane) {
      this.plan = plan; this.plane = plane;
      this.parts = partsOf(plan);
      this.shown = this.parts.filter((part) => part.plane === plane);
      this.home = home;
      home.replaceChildren();
      const warn = plan.broken.length ? el("p", {class: "warn"}, "BREAKS A LIMIT. " + plan.broken.join("; ")) : "";
      home.append(el("h2", {}, `Plan ${plan.rank}: ${plan.cost}, ${plan.finish}`), warn);
      if (plan.flown) home.append(el("p", {class: "quiet"}, plan.flown));
      if (D.ring.planes > 1) home.append(this.planeChoice());
      this.turning = canvas("The ways to the slots in the frame that turns with the ring", 0.82);
      this.unrolled = canvas("The unrolled ring: angle from slot 0 across, altitude up", 0.82, 340);
      const views = this.views = el("div", {class: "views"});
      home.append(views);
      this.turningSaid = el("figcaption");
      views.append(
        el("figure", {}, el("h3", {}, "Turning with the ring"), this.turning, this.turningSaid),
        el("figure", {}, el("h3", {}, "The unrolled ring"), this.unrolled,
          el("figcaption", {}, "Angle ahead of slot 0 across, altitude up, to scale. Slots stand still; ahead is to the right.", D.drawn ? " " + D.drawn : "")),
        this.timeline(), this.closing(), ...this.propellant());
      home.append(this.burns(), this.limits());
      this.paint();
    }
    planeChoice() {
      const choose = el("select", {"aria-label": "Plane shown"});
      for (let i = 0; i < D.ring.planes; i++) choose.append(el("option", {value: i}, `plane ${i}`));
      choose.value = this.plane;
      choose.addEventListener("change", () => { S.plane = Number(choose.value); const at = panels.indexOf(this); rebuild(); panels[at].choose.focus(); });
      this.choose = choose;
      return el("p", {class: "row"}, "Pictures show ", choose);
    }
    extent() {
      let low = D.ring.radius_km, high = low;
      for (const part of this.shown) for (const way of ways(part)) for (const [, r] of way.points) {
        if (r < low) low = r;
        if (r > high) high = r;
      }
      return [low, high];
    }
    paint() {
      const [low, high] = this.extent(), R = D.ring.radius_km;
      let off = 0;
      for (const part of this.shown) for (const way of ways(part)) if (way.phasing) for (const [, r] of way.points) off = Math.max(off, Math.abs(r / R - 1));
      this.stretch = off > 0.1 || off < 1e-9 ? 1 : [200, 100, 50, 20, 10, 5, 2].find((s) => s * off <= 0.36) || 1;
      this.turningSaid.textContent = "Slots stand still, slot 0 on top; ahead is counterclockwise. " +
        (this.stretch > 1 ? `Heights from the ring are drawn ${this.stretch} times too large.` : "To scale; dotted: the way before the first burn.") + (D.spares_said[this.plane] || "");
      still(this.turning, (pen, wide, tall) => this.paintTurning(pen, wide, tall, high / R));
      still(this.unrolled, (pen, wide, tall) => this.paintUnrolled(pen, wide, tall, low - D.body.radius_km, high - D.body.radius_km));
      this.move(S.t);
    }
    paintTurning(pen, wide, tall, reach) {
      const most = Math.max(1, 1 + this.stretch * (reach - 1));
      const unit = Math.min(wide / 2 - (D.ring.slots > 24 ? 46 : wide < 420 ? 66 : 84), tall / 2 - 26) / most;
      this.round = (r, angle) => {
        const size = unit * (1 + this.stretch * (r / D.ring.radius_km - 1)), a = angle + Math.PI / 2;
        return [wide / 2 + size * Math.cos(a), tall / 2 - size * Math.sin(a)];
      };
      if (this.stretch === 1) {
        for (const [km, color] of [[D.body.air_km, "shade"], [0, "ground"]]) {
          pen.beginPath(); pen.arc(wide / 2, tall / 2, unit * (D.body.radius_km + km) / D.ring.radius_km, 0, TAU);
          pen.fillStyle = tone(color); pen.fill();
        }
      }
      pen.beginPath(); pen.arc(wide / 2, tall / 2, unit, 0, TAU); pen.strokeStyle = tone("faint"); pen.lineWidth = 1; pen.stroke();
      for (const part of this.shown) for (const way of ways(part)) {
        if (way.phasing || this.stretch === 1) line(pen, way.points.map(([, r, a]) => this.round(r, a)), part.craft, way.phasing);
      }
      this.slots(pen, (angle) => this.round(D.ring.radius_km, angle), (slot, x, y) => {
        const a = slotAngle(slot) + Math.PI / 2, out = unit * (this.stretch > 1 ? most : 1) + 12;
        return [wide / 2 + out * Math.cos(a), tall / 2 - out * Math.sin(a), Math.cos(a) > 0.3 ? "left" : Math.cos(a) < -0.3 ? "right" : "center"];
      }, wide < 420 ? 9 : 14);
    }
    /** Where the ring is cut open: midway between two slots, where the fewest ways pass, as in the figures. */
    cut() {
      const around = (angle) => ((angle % TAU) + TAU) % TAU, each = Math.ceil(D.ring.slots / 12);
      const passed = (cut) => this.shown.reduce((sum, part) => sum + ways(part).reduce((found, way) => {
        let before = null;
        for (const [, , a] of way.points) { const at = around(a - cut); if (before !== null && Math.abs(at - before) > Math.PI) found++; before = at; }
        return found;
      }, 0), 0);
      let best = -(TAU - slotAngle(D.ring.slots - 1)) / 2, fewest = passed(best);
      for (let slot = each; slot < D.ring.slots && fewest; slot += each) {
        const cut = (slotAngle(slot - 1) + slotAngle(slot)) / 2, found = passed(cut);
        if (found < fewest) [best, fewest] = [cut, found];
      }
      return best;
    }
    paintUnrolled(pen, wide, tall, low, high) {
      const ring = D.ring.altitude_km, floor = Math.max(D.body.floor_km, D.body.air_km);
      const room = Math.max(0.2 * (high - low), 1e-4 * ring), near = high - Math.min(low, 0) <= 1.6 * (high - low);
      const bottom = near ? Math.min(low, -0.03 * high) : low - room, top = high + room;
      const left = 62, right = wide - 12, head = 26, foot = tall - 40 - (near ? 0 : 34);
      const y = (km) => foot - (km - bottom) / (top - bottom) * (foot - head);
      const cut = this.cut();
      const x = (angle) => left + (((angle - cut) % TAU) + TAU) % TAU / TAU * (right - left);
      this.flat = (r, angle) => [x(angle), y(r - D.body.radius_km)];
      const band = (from, to, color) => { pen.fillStyle = tone(color); pen.fillRect(left, from, right - left, to - from); };
      if (near) {
        band(y(Math.max(D.body.air_km, 0)), y(0), "shade"); band(y(0), foot, "ground");
        if (D.body.floor_km > D.body.air_km) { pen.strokeStyle = tone("faint"); pen.setLineDash([4, 3]); pen.beginPath(); pen.moveTo(left, y(floor)); pen.lineTo(right, y(floor)); pen.stroke(); pen.setLineDash([]); }
      } else {
        const strip = tall - 66;
        band(strip, strip + 14, "shade"); band(strip + 14, strip + 24, "ground");
        pen.fillStyle = tone("quiet"); pen.textAlign = "right"; pen.textBaseline = "middle";
        pen.fillText(`below the break: ${D.body.air_km ? `air to ${Math.round(D.body.air_km)} km, ` : ""}floor ${Math.round(D.body.floor_km)} km`, right - 4, strip + 8, right - left - 8);
        pen.strokeStyle = tone("ink"); pen.beginPath(); pen.moveTo(left - 5, foot + 4); pen.lineTo(left + 5, foot - 2); pen.moveTo(left - 5, foot + 10); pen.lineTo(left + 5, foot + 4); pen.stroke();
      }
      pen.strokeStyle = tone("ink"); pen.lineWidth = 0.8; pen.beginPath(); pen.moveTo(left, head); pen.lineTo(left, foot); pen.stroke();
      pen.fillStyle = tone("ink"); pen.textAlign = "right"; pen.textBaseline = "middle";
      for (const km of ticks(bottom, top, 5)) pen.fillText(km.toLocaleString("en").replace(/,/g, "\u202f"), left - 6, y(km));
      pen.strokeStyle = tone("faint"); pen.beginPath(); pen.moveTo(left, y(ring)); pen.lineTo(right, y(ring)); pen.stroke();
      pen.textAlign = "center"; pen.fillStyle = tone("quiet");
      const own = D.ring.even && D.ring.slots <= (right - left) / 44, count = own ? D.ring.slots : right - left > 400 ? 8 : 4;
      for (let i = 0; i < count; i++) pen.fillText(`${Math.round(3600 * i / count) / 10}°`, x(TAU * i / count), tall - 26);
      pen.fillText("ahead of slot 0", (left + right) / 2, tall - 9);
      for (const part of this.shown) for (const way of ways(part)) {
        let before = null;
        line(pen, way.points.map(([, r, a]) => {
          const [px, py] = this.flat(r, a), lift = before !== null && Math.abs(px - before) > (right - left) / 2;
          before = px;
          return [px, py, lift];
        }), part.craft, way.phasing);
      }
      this.slots(pen, (angle) => this.flat(D.ring.radius_km, angle), (slot, px) => [px, 12, "center"], (right - left) / D.ring.slots / 6.6);
    }
    slots(pen, at, label, letters = 14) {
      const kept = slotLabels(this.plane), owner = Array(D.ring.slots).fill(-1);
      for (const part of this.shown) owner[part.slot] = part.craft;
      // where names have no room, every few slots get their number
      const many = D.ring.slots > 24 || letters < 6, each = Math.ceil(D.ring.slots / Math.min(12, Math.max(3, Math.floor(letters * D.ring.slots / 9))));
      for (let slot = 0; slot < D.ring.slots; slot++) {
        const [x, y] = at(slotAngle(slot)), color = owner[slot] >= 0 ? ink(owner[slot]) : tone(kept[slot] ? "ink" : "quiet");
        pen.beginPath(); pen.arc(x, y, D.ring.slots > 24 ? 3 : 5, 0, TAU);
        pen.strokeStyle = color; pen.lineWidth = 1.2; pen.fillStyle = owner[slot] >= 0 || kept[slot] ? color : tone("paper"); pen.fill(); pen.stroke();
        if (many && slot % each) continue;
        const [lx, ly, align] = label(slot, x, y);
        pen.textAlign = align; pen.textBaseline = "middle"; pen.fillStyle = tone("ink");
        let name = owner[slot] >= 0 ? D.craft[owner[slot]] : kept[slot] || "free";
        if (many) name = `slot ${slot}`;
        pen.fillText(short(name, many ? 14 : Math.floor(Math.min(14, letters))), lx, ly);
      }
      for (const one of D.spares.filter((spare) => spare.plane === this.plane)) {
        const [x, y] = at(one.ahead_rad);
        pen.beginPath(); pen.moveTo(x, y - 5); pen.lineTo(x + 5, y); pen.lineTo(x, y + 5); pen.lineTo(x - 5, y); pen.closePath();
        pen.fillStyle = tone("paper"); pen.fill(); pen.strokeStyle = tone("ink"); pen.lineWidth = 1.2; pen.stroke();
      }
    }
    /** Width that a chart gets, in CSS pixels, so that its letters are as large as all others. */
    breadth(broad) {
      const wide = Math.max(260, this.home.clientWidth);
      return Math.round(broad || getComputedStyle(this.views).gridTemplateColumns.split(" ").length < 2 ? wide : (wide - 32) / 2);
    }
    /** A chart against time: its svg, and functions from seconds and values to places on it. */
    chart(label, tall, low, high, unit, broad, left = 68) {
      const wide = this.breadth(broad), right = wide - 10, head = 8, foot = tall - 26;
      const svg = draw("svg", {viewBox: `0 0 ${wide} ${tall}`, role: "img", "aria-label": label});
      const x = (t) => left + (t - S.from) / (S.to - S.from) * (right - left), y = (v) => foot - (v - low) / (high - low) * (foot - head);
      svg.append(draw("line", {x1: left, y1: foot, x2: right, y2: foot, stroke: "var(--ink)", "stroke-width": 0.8}));
      const day = S.to - S.from > 2 * 86400 ? 86400 : 3600;
      for (const v of ticks(S.from / day, S.to / day, Math.min(10, wide / 80))) {
        svg.append(draw("text", {x: x(v * day), y: foot + 17, "text-anchor": x(v * day) > right - 14 ? "end" : x(v * day) < left + 8 ? "start" : "middle", class: "quiet"}, `${v} ${day === 86400 ? "d" : "h"}`));
        svg.append(draw("line", {x1: x(v * day), y1: foot, x2: x(v * day), y2: foot + 4, stroke: "var(--ink)", "stroke-width": 0.8}));
      }
      if (unit) for (const v of ticks(low, high, 4, unit === "°" ? ANGLES : TENS)) svg.append(draw("text", {x: left - 6, y: y(v) + 4, "text-anchor": "end", class: "quiet"}, `${v}${unit}`));
      const hand = draw("line", {y1: head, y2: foot, stroke: "var(--quiet)", "stroke-width": 1, "stroke-dasharray": "3 2"});
      svg.append(hand);
      this.hands = this.hands || [];
      this.hands.push([hand, x]);
      const drag = (event) => {
        const box = svg.getBoundingClientRect(), at = (event.clientX - box.left) / box.width * wide;
        setTime(S.from + (at - left) / (right - left) * (S.to - S.from));
      };
      svg.style.touchAction = "pan-y";
      svg.addEventListener("pointerdown", (event) => { stop(); svg.setPointerCapture(event.pointerId); drag(event); });
      svg.addEventListener("pointermove", (event) => { if (event.buttons) drag(event); });
      return {svg, x, y};
    }
    timeline() {
      const lane = this.parts.length > 24 ? 12 : 20, letter = lane > 12 ? 6.4 : 5.4;
      const longest = Math.max(8, ...this.parts.map((part) => D.craft[part.craft].length));
      const left = Math.round(Math.min(Math.max(68, 12 + letter * longest), Math.max(68, this.breadth(true) / 5)));
      const {svg, x} = this.chart("Timeline: a lane a craft, burns as marks", 34 + lane * this.parts.length, 0, 1, "", true, left);
      this.parts.forEach((part, i) => {
        const y = 8 + lane * (i + 0.5), from = part.launch_s ?? (part.stretches[0] || [0, S.from])[1];
        svg.append(draw("text", {x: 2, y: y + 0.3 * lane - 2, class: lane > 12 ? "" : "fine"}, clipped(D.craft[part.craft], Math.floor((left - 12) / letter))));
        svg.append(draw("line", {x1: x(from), y1: y, x2: x(part.in_slot_s), y2: y, stroke: ink(part.craft), "stroke-width": 2}));
        svg.append(draw("line", {x1: x(part.in_slot_s), y1: y, x2: x(S.to), y2: y, stroke: ink(part.craft), "stroke-width": 0.7, "stroke-dasharray": "1 2"}));
        for (const burn of part.burns) svg.append(draw("line", {x1: x(burn.s), y1: y - lane * 0.32, x2: x(burn.s), y2: y + lane * 0.32, stroke: "var(--ink)", "stroke-width": 1.6}));
      });
      return el("figure", {class: "wide"}, el("h3", {}, "Timeline"), svg, el("figcaption", {}, "Bars: burns. Dotted: in its slot.", el("span", {class: "screen"}, " Drag to move through time.")));
    }
    closing() {
      const curves = this.parts.map((part) => {
        const points = [], end = slotAngle(part.slot);
        for (const way of ways(part)) if (way.phasing) for (const [t, , a] of way.points) points.push([t, a]);
        if (!points.length) return [];
        let shift = end, before = null;
        for (let i = points.length - 1; i >= 0; i--) {
          let a = points[i][1] - shift;
          if (before === null) { const turns = Math.round(a / TAU) * TAU; shift += turns; a -= turns; }
          else { const turns = Math.round((a - before) / TAU) * TAU; shift += turns; a -= turns; }
          before = a; points[i][1] = a * 360 / TAU;
        }
        return points;
      });
      const all = curves.flat().map((p) => p[1]), low = Math.min(-5, ...extremes(all)), high = Math.max(5, ...extremes(all));
      const {svg, x, y} = this.chart("Angle from each craft to its slot against time", 210, low, high, "°", !this.parts.some((part) => part.loaded_kg !== null));
      svg.append(draw("line", {x1: x(S.from), y1: y(0), x2: x(S.to), y2: y(0), stroke: "var(--faint)"}));
      curves.forEach((points, i) => {
        if (!points.length) return;
        const every = Math.max(1, Math.floor(points.length / 500));
        const path = points.filter((_, j) => j % every === 0 || j === points.length - 1).map(([t, a]) => `${x(t).toFixed(1)},${y(a).toFixed(1)}`).join(" ");
        svg.append(draw("polyline", {points: path, fill: "none", stroke: ink(this.parts[i].craft), "stroke-width": 1.3, "stroke-dasharray": dash(this.parts[i].craft).join(" ")}));
      });
      return el("figure", {class: this.parts.some((part) => part.loaded_kg !== null) ? "" : "wide"}, el("h3", {}, "Angle to the slot"), svg, el("figcaption", {}, "Craft less slot, from the first burn to the slot: above zero it is ahead."));
    }
    propellant() {
      const own = this.parts.filter((part) => part.loaded_kg !== null);
      if (!own.length) return [];
      const high = Math.max(...own.map((part) => part.loaded_kg)) * 1.05 || 1;
      const {svg, x, y} = this.chart("Propellant left against time", 210, 0, high, " kg", false);
      for (const part of own) {
        let kg = part.loaded_kg, path = `${x(part.launch_s ?? S.from)},${y(kg)}`;
        for (const burn of part.burns) { path += ` ${x(burn.s)},${y(kg)} ${x(burn.s)},${y(burn.kg)}`; kg = burn.kg; }
        svg.append(draw("polyline", {points: path + ` ${x(S.to)},${y(kg)}`, fill: "none", stroke: ink(part.craft), "stroke-width": 1.3, "stroke-dasharray": dash(part.craft).join(" ")}));
      }
      return [el("figure", {}, el("h3", {}, "Propellant left"), svg, el("figcaption", {}, "Each step down is a burn."))];
    }
    burns() {
      const body = el("tbody");
      this.rows = [];
      for (const part of this.parts) {
        body.append(el("tr", {class: "craft"}, el("th", {colspan: "5", scope: "rowgroup"}, ...named(part.craft), el("span", {}, `, slot ${part.slot}: ${part.way}`))));
        for (const burn of part.burns) {
          const row = el("tr", {}, el("td", {}, ...burn.at.split(/ (?=\d+:)/).flatMap((word) => [el("span", {class: "whole"}, word), " "])), el("td", {}, burn.give),
            el("td", {class: "number"}, burn.period), el("td", {class: "number"}, burn.low), el("td", {class: "number"}, burn.high));
          this.rows.push([row, burn.s]);
          body.append(row);
        }
      }
      const heads = [["burn at"], ["give"], ["period at cut-off", 1], ["periapsis km", 1], ["apoapsis km", 1]];
      const top = el("tr", {}, ...heads.map(([name, right]) => el("th", right ? {class: "number", scope: "col"} : {scope: "col"}, name)));
      return el("section", {class: "burns"}, el("h3", {}, "Burns"), el("div", {class: this.parts.length > 24 ? "scroll long" : "scroll", tabindex: "0", role: "region", "aria-label": `Burns of plan ${this.plan.rank}`}, el("table", {}, el("thead", {}, top), body)));
    }
    limits() {
      const rows = this.plan.limits.map((one) => {
        const bar = el("span", {class: "bar"}, el("i", {style: `width:${100 * one.share}%`}));
        return el("tr", {}, el("td", {}, one.words, " (", el("bdi", {}, short(one.craft, 80)), ")"), el("td", {class: "number"}, one.value), el("td", {}, one.allowed), el("td", {class: "number"}, one.room, bar));
      });
      if (!rows.length) return el("p", {class: "quiet"}, "No limit of the scenario touches this plan.");
      const top = el("tr", {}, ...[["limit (craft that comes closest)"], ["plan", 1], ["allowed"], ["room", 1]].map(([name, right]) => el("th", right ? {class: "number", scope: "col"} : {scope: "col"}, name)));
      return el("section", {}, el("h3", {}, "Limits"), el("div", {class: "scroll", tabindex: "0", role: "region", "aria-label": `Limits of plan ${this.plan.rank}`}, el("table", {}, el("thead", {}, top), el("tbody", {}, ...rows))));
    }
    move(t) {
      const pace = (S.to - S.from) / 30, round = [], flat = [];
      for (const part of this.shown) {
        const at = place(part, t);
        if (!at) continue;
        let flash = 0;
        for (const burn of part.burns) { const since = (t - burn.s) / pace; if (since >= 0 && since < 0.7) flash = 1 - since / 0.7; }
        round.push([...this.round(...at), ink(part.craft), flash]);
        flat.push([...this.flat(...at), ink(part.craft), flash]);
      }
      moving(this.turning, round); moving(this.unrolled, flat);
      for (const [hand, x] of this.hands) { hand.setAttribute("x1", x(t)); hand.setAttribute("x2", x(t)); }
      let last = -Infinity;
      for (const [, s] of this.rows) if (s <= t + 1e-3 && s > last) last = s;
      for (const [row, s] of this.rows) row.className = s === last ? "now" : "";
    }
  }
  const short = (text, most) => (text.length > most ? text.slice(0, most - 1) + "…" : text);
  /** A name cut in its middle: where names begin alike, they differ at their end. */
  const clipped = (text, most) => (text.length > most ? text.slice(0, Math.ceil((most - 1) / 2)) + "…" + text.slice(-Math.floor((most - 1) / 2)) : text);
  function extremes(values) {
    let low = Infinity, high = -Infinity;
    for (const v of values) { if (v < low) low = v; if (v > high) high = v; }
    return values.length ? [low, high] : [];
  }
  const TENS = [1, 2, 5, 10], ANGLES = [1, 2, 5, 10, 15, 30, 45, 90, 180, 360];
  function ticks(low, high, most, steps = TENS) {
    const raw = (high - low) / most, ten = steps === TENS || raw < 1 ? 10 ** Math.floor(Math.log10(raw)) : 1;
    const step = (ten === 1 ? steps : TENS).map((f) => f * ten).find((f) => f >= raw) || raw;
    const found = [];
    for (let i = Math.ceil(low / step - 1e-9); i * step <= high + 1e-9 * step; i++) found.push(Number((i * step).toPrecision(6)));
    return found;
  }

  // ---- state: which plans, which moment
  const S = {a: null, b: null, allowed: null, t: 0, from: 0, to: 1, plane: 0, playing: false};
  let panels = [], makeSheets = null;
  function rebuild() {
    const plans = S.b && S.b !== S.a ? [S.a, S.b] : [S.a], parts = plans.flatMap(partsOf);
    S.from = Math.min(0, ...extremes(parts.map((part) => part.launch_s ?? 0)));
    S.to = Math.max(1, ...plans.map((plan) => plan.finish_s)) * 1.04;
    S.t = Math.min(Math.max(S.t, S.from), S.to);
    by("panels").className = plans.length > 1 ? "two" : "";
    while (by("panels").children.length > plans.length) by("panels").lastChild.remove();
    while (by("panels").children.length < plans.length) by("panels").append(el("section", {class: "panel"}));
    panels = plans.map((plan, i) => new Panel(by("panels").children[i], plan, S.plane));
    by("first").value = S.a.rank; by("second").value = S.b ? S.b.rank : "";
    markFront(); setTime(S.t); otherSheets();
  }
  function setTime(t) {
    S.t = Math.min(Math.max(t, S.from), S.to);
    by("moment").value = 1000 * (S.t - S.from) / (S.to - S.from);
    by("clock").textContent = said(S.t);
    for (const panel of panels) panel.move(S.t);
  }
  let last = 0;
  function frame(now) {
    if (!S.playing) return;
    const step = last ? Math.min(now - last, 200) : 0;
    last = now;
    setTime(S.t + step / 1000 * (S.to - S.from) / 30);
    if (S.t >= S.to) stop();
    else requestAnimationFrame(frame);
  }
  function stop() { S.playing = false; last = 0; by("play").textContent = "Play"; }
  function play() {
    if (S.playing) { stop(); return; }
    if (S.t >= S.to) setTime(S.from);
    S.playing = true; by("play").textContent = "Pause"; requestAnimationFrame(frame);
  }
  function nextBurn() {
    stop();
    const times = panels.flatMap((panel) => panel.rows.map(([, s]) => s)).filter((s) => s > S.t + 0.5).sort((a, b) => a - b);
    setTime(times.length ? times[0] : S.to);
  }
  function pick(rank, allowed = null) {
    const plan = D.plans.find((one) => one.rank === rank);
    S.allowed = allowed;
    if (plan && plan !== S.a) { S.a = plan; rebuild(); } else markFront();
  }

  // ---- the front
  let front = [], marks = [], size = 5;
  function drawFront() {
    const home = by("front"), focused = S.svg && document.activeElement === S.svg;
    home.replaceChildren();
    if (front.length < 2) { home.append(el("p", {}, "One plan is both the cheapest and the soonest: there is nothing to trade.")); by("allowed-row").hidden = true; return; }
    by("allowed-row").hidden = false;
    const wide = Math.max(260, home.clientWidth), tall = 260, left = 52, right = wide - 8, head = 22, foot = tall - 34, others = D.plans.filter((plan) => !front.some((p) => p.plan === plan.rank));
    const costs = D.plans.map((p) => p.delta_v_m_s), times = D.plans.map((p) => p.finish_s), day = front[front.length - 1].finish_s > 2 * 86400 ? 86400 : 3600;
    // plans that end far later than the front stand behind a break in the axis, so that the front keeps its width
    const [first, last] = [front[0].finish_s, front[front.length - 1].finish_s], edge = last + Math.max(last - first, 0.2 * last), far = others.filter((p) => p.finish_s > edge), side = far.length ? right - 44 : right;
    const [c0, c1] = [Math.min(...costs), Math.max(...costs)], near = times.filter((t) => t <= edge), [t0, t1] = [Math.min(...near), Math.max(...near)];
    const log = c0 > 0 && c1 > 6 * c0, f = log ? Math.log : (v) => v, y0 = f(c0) - 0.08 * (f(c1) - f(c0) || 1), y1 = f(c1) + 0.1 * (f(c1) - f(c0) || 1);
    const x = (t) => (t > edge ? right - 16 : left + 20 + (t - t0) / (t1 - t0 || 1) * (side - left - 60)), y = (v) => foot - (f(v) - y0) / (y1 - y0) * (foot - head);
    const svg = draw("svg", {viewBox: `0 0 ${wide} ${tall}`, tabindex: "0", role: "slider", "aria-label": "Plan on the front: left is sooner, right is cheaper", "aria-valuemin": 0, "aria-valuemax": front.length - 1, "aria-valuenow": 0});
    svg.append(draw("line", {x1: left, y1: foot, x2: right, y2: foot, stroke: "var(--ink)", "stroke-width": 0.8}), draw("line", {x1: left, y1: head, x2: left, y2: foot, stroke: "var(--ink)", "stroke-width": 0.8}));
    for (const v of ticks(t0 / day, t1 / day, Math.min(10, wide / 80))) svg.append(draw("text", {x: x(v * day), y: foot + 16, "text-anchor": "middle", class: "quiet"}, `${v}`));
    if (far.length) {
      for (const at of [side - 3, side + 3]) svg.append(draw("line", {x1: at - 3, y1: foot + 6, x2: at + 3, y2: foot - 6, stroke: "var(--ink)", "stroke-width": 0.8}));
      svg.append(draw("text", {x: right, y: foot + 16, "text-anchor": "end", class: "quiet"}, "later"));
    }
    svg.append(draw("text", {x: right, y: tall - 4, "text-anchor": "end", class: "quiet"}, `last craft in its slot, ${day === 86400 ? "days" : "hours"}`), draw("text", {x: 2, y: 12, class: "quiet"}, "m/s"));
    const marks10 = log ? [1, 2, 5].flatMap((m) => [0, 1, 2, 3, 4].map((p) => m * 10 ** p)).filter((v) => v >= c0 * 0.98 && v <= c1 * 1.02) : ticks(c0, c1, 5);
    for (const v of marks10) svg.append(draw("text", {x: left - 6, y: y(v) + 4, "text-anchor": "end", class: "quiet"}, v.toLocaleString("en").replace(/,/g, "\u202f")));
    let path = "";
    front.forEach((p, i) => {
      p.x = x(p.finish_s); p.y = y(p.delta_v_m_s);
      path += i ? (front[i - 1].kind === "step" ? ` H${p.x} V${p.y}` : ` L${p.x},${p.y}`) : `M${p.x},${p.y}`;
    });
    svg.append(draw("path", {d: path + ` H${right}`, fill: "none", stroke: "var(--ink)", "stroke-width": 1.2}));
    for (const plan of others) {
      const dot = draw("circle", {cx: x(plan.finish_s), cy: y(plan.delta_v_m_s), r: 4, fill: "var(--paper)", stroke: "var(--quiet)"});
      dot.append(draw("title", {}, `plan ${plan.rank}: ${plan.cost}, ${plan.finish}`));
      dot.addEventListener("click", () => pick(plan.rank));
      svg.append(dot);
    }
    size = front.length > wide / 12 ? 3 : 5;
    marks = front.map((p) => {
      const plan = D.plans.find((one) => one.rank === p.plan), dot = draw("circle", {cx: p.x, cy: p.y, r: size, fill: "var(--ink)", stroke: "var(--paper)", "stroke-width": 1.5});
      dot.append(draw("title", {}, `plan ${p.plan}: ${plan.cost}, ${plan.finish}`));
      svg.append(dot);
      return dot;
    });
    const nearest = (event) => {
      const box = svg.getBoundingClientRect(), px = (event.clientX - box.left) / box.width * wide, py = (event.clientY - box.top) / box.height * tall;
      let best = 0;
      front.forEach((p, i) => { if (Math.hypot(p.x - px, p.y - py) < Math.hypot(front[best].x - px, front[best].y - py)) best = i; });
      pick(front[best].plan);
    };
    svg.addEventListener("pointerdown", nearest);
    svg.addEventListener("keydown", stepFront);
    home.append(svg);
    S.svg = svg;
    if (focused) svg.focus();
  }
  /** Keys go from one point of the front to the next, on the picture and on the slider. */
  function stepFront(event) {
    const step = {ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 5, PageDown: -5, Home: -front.length, End: front.length}[event.key];
    if (!step) return;
    event.preventDefault();
    const now = front.findIndex((p) => p.plan === S.a.rank), to = Math.min(Math.max((now < 0 ? 0 : now) + step, 0), front.length - 1);
    pick(front[to].plan);
  }
  /** The cheapest plan of the front that is done within a time. */
  function allow(s) {
    const within = front.filter((p) => p.finish_s <= s + 1e-6);
    pick((within.length ? within[within.length - 1] : front[0]).plan, s);
  }
  function markFront() {
    const now = front.findIndex((p) => p.plan === S.a.rank);
    marks.forEach((dot, i) => { dot.setAttribute("r", i === now ? 8 : size); dot.setAttribute("fill", i === now ? "var(--link)" : "var(--ink)"); });
    if (marks[now]) marks[now].parentNode.append(marks[now]);
    if (S.svg) { S.svg.setAttribute("aria-valuenow", Math.max(now, 0)); S.svg.setAttribute("aria-valuetext", `plan ${S.a.rank}: ${S.a.cost}, ${S.a.finish}`); }
    const own = S.allowed === null || Math.abs(S.allowed - S.a.finish_s) < 30;
    by("allowed").value = S.allowed ?? S.a.finish_s;
    by("allowed-said").textContent = (own ? "" : span(S.allowed) + " allowed: ") + `plan ${S.a.rank}, ${S.a.cost}, done after ${S.a.finish}` + (S.a.at ? ` (${S.a.at})` : "");
    by("allowed").setAttribute("aria-valuetext", by("allowed-said").textContent);
  }

  function sheets() {
    by("sheet-list").replaceChildren();
    by("sheets").hidden = !D.sheets.length && !makeSheets;
    by("sheets-head").textContent = `Maneuver sheets of plan ${D.sheets_of}`;
    otherSheets();
    for (const sheet of D.sheets) {
      const print = el("button", {type: "button", class: "screen"}, "Print this sheet");
      const whole = el("details", {}, el("summary", {}, el("bdi", {}, sheet.craft)), print, el("pre", {}, sheet.text));
      print.addEventListener("click", () => printAlone(whole));
      by("sheet-list").append(whole);
    }
  }
  /** How to come by the sheets of the plan that is shown, where they are not those below. */
  function otherSheets() {
    const home = by("sheet-other");
    home.hidden = !S.a || S.a.rank === D.sheets_of;
    if (home.hidden) return;
    home.replaceChildren();
    if (makeSheets) {
      const rank = S.a.rank, make = el("button", {type: "button"}, `Make the sheets of plan ${rank}`);
      make.addEventListener("click", () => { make.disabled = true; makeSheets(rank); });
      home.append(make);
    } else home.append(`Of plan ${S.a.rank}: ringwright sheet SCENARIO --plan ${S.a.rank}`);
  }
  /** Print one sheet and nothing else. */
  function printAlone(sheet) {
    const root = document.documentElement;
    root.classList.add("alone"); sheet.classList.add("chosen");
    window.print();
    root.classList.remove("alone"); sheet.classList.remove("chosen");
  }
  /** Show an outcome, in place of the one before if there was one: the moment and the plane shown stay where they can. */
  function load(data) {
    const first = D === null, moment = S.t;
    stop();
    D = {...data, sheets_of: data.open}; sampled = new Map(); S.svg = null;
    front = D.front.map((point) => ({...point, x: 0, y: 0}));
    marks = [];
    document.title = by("title").textContent = D.title;
    by("answer").textContent = D.answer; by("caution").textContent = D.caution;
    by("trust").textContent = D.proof; by("trust").hidden = !by("trust").textContent;
    by("remark-list").replaceChildren(...D.remarks.map((one) => el("li", {}, one))); by("remarks").hidden = !D.remarks.length;
    by("whole-text").textContent = D.text; by("whole").hidden = !D.plans.length;
    by("whole").querySelector("summary").textContent = `Plan ${D.open} as text, with all that was found about it`;
    S.a = D.plans.find((plan) => plan.rank === D.open) || D.plans[0] || null;
    S.b = null; S.plane = S.plane < D.ring.planes ? S.plane : 0;
    by("choice").hidden = by("time").hidden = by("time-line").hidden = !S.a;
    sheets();
    if (!S.a) { panels = []; by("panels").className = ""; by("panels").replaceChildren(el("pre", {}, D.text)); return; }
    by("first").replaceChildren(); by("second").replaceChildren(el("option", {value: ""}, "none"));
    for (const plan of D.plans) for (const id of ["first", "second"]) by(id).append(el("option", {value: plan.rank}, `${plan.rank}: ${plan.cost}, ${plan.finish}`));
    const [soonest, latest] = front.length ? [front[0].finish_s, front[front.length - 1].finish_s] : [0, 1];
    // a little further than the latest, so that this one can be reached with a thumb
    by("allowed").min = soonest; by("allowed").max = latest + 0.03 * (latest - soonest || 1);
    S.allowed = null;
    by("panels").replaceChildren();
    drawFront();
    S.t = first ? -Infinity : moment;
    rebuild();
  }
  function wire() {
    by("first").addEventListener("change", () => pick(Number(by("first").value)));
    by("second").addEventListener("change", () => { S.b = D.plans.find((plan) => String(plan.rank) === by("second").value) || null; rebuild(); });
    by("play").addEventListener("click", play); by("next").addEventListener("click", nextBurn);
    by("moment").addEventListener("input", () => { stop(); setTime(S.from + by("moment").value / 1000 * (S.to - S.from)); });
    by("allowed").addEventListener("input", () => allow(Number(by("allowed").value)));
    by("allowed").addEventListener("keydown", stepFront);
    let waiting = 0, breadth = innerWidth;
    const again = () => { if (S.a) { drawFront(); rebuild(); } };
    addEventListener("resize", () => {
      if (innerWidth === breadth) return;
      breadth = innerWidth; clearTimeout(waiting); waiting = setTimeout(again, 120);
    });
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => panels.forEach((panel) => panel.paint()));
    const paper = (on) => {
      document.documentElement.classList.toggle("paper", on);
      for (const one of document.querySelectorAll("#sheet-list details")) {
        if (on) one.before = one.open;
        one.open = on || one.before;
      }
      again();
    };
    addEventListener("beforeprint", () => paper(true));
    addEventListener("afterprint", () => paper(false));
  }
  wire();
  const own = by("data").textContent;
  if (own) load(JSON.parse(own));
  globalThis.ringwright = {
    el, load,
    sheets: (made) => { D.sheets = made.sheets; D.sheets_of = made.rank; sheets(); },
    /** Who makes sheets of another plan when asked to; a page that is a file has nobody. */
    makesSheets: (maker) => { makeSheets = maker; },
  };
})();
