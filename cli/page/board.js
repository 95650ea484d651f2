// The tank from above and from the front: pieces and handles are moved by pointer or by keys. The
// drawing itself comes from the program, in parts as they change; here it only follows the hand
// until the program has answered.
const SVG = `
  <div :class="['board', { stale }]" @keydown="onKey" @pointerdown.capture="onMore">
    <figure v-for="view in views" :key="view.key" :class="'view ' + view.key">
      <figcaption>{{ view.title }}</figcaption>
      <svg :viewBox="'-8 -8 ' + (drawing.length + 16) + ' ' + (view.tall + 16)" :ref="view.key"
           role="group" :aria-label="view.title">
        <rect class="glass" x="0" y="0" :width="drawing.length" :height="view.tall" />
        <g aria-hidden="true">
          <path v-for="(part, i) in view.ground" :key="i" :d="part.d" :fill="part.fill || 'none'"
                :class="[part.fill ? 'zone' : 'height', { lit: marked.includes(part.layer) }]" />
          <line v-if="view.key === 'above'" v-for="third in thirds" :key="'t' + third.join()" class="third"
                :x1="third[0]" :y1="third[1]" :x2="third[2]" :y2="third[3]" />
          <rect v-if="view.key === 'front' && level !== null" class="water" x="0" :y="drawing.height - level"
                :width="drawing.length" :height="level" />
        </g>
        <g v-for="piece in ordered(view)" :key="piece.name" tabindex="0" role="button"
           :aria-label="piece.label" :aria-pressed="piece.name === selected ? 'true' : 'false'"
           :class="['piece', piece.kind, { selected: piece.name === selected, floats: piece.floats,
                    marked: marked.includes(piece.name) }]"
           :transform="shift(piece, view)" :data-piece="piece.name"
           @touchstart.prevent @pointerdown.stop="onDown($event, piece, view)" @pointermove="onMove" @pointerup="onUp"
           @pointercancel="onCancel" @focus="onFocus(piece.name)" @blur="onBlur">
          <path :d="piece[view.key]" :fill="piece.fill" />
          <text v-if="legible(piece, view)" :font-size="15 * unit" :stroke-width="4 * unit" :x="piece.middle[0]"
                :y="view.key === 'above' ? drawing.depth - piece.middle[1]
                : drawing.height - piece.centre">{{ piece.number }}</text>
        </g>
        <g aria-hidden="true" v-if="view.key === 'above'">
          <path v-if="drawing.border" class="border" :d="drawing.border" />
          <circle v-for="(gap, i) in drawing.gaps" :key="'g' + i" :cx="gap.x" :cy="gap.y" :r="7 * unit"
                  :class="['gap', { lit: marked.includes(gap.name) }]" />
          <circle v-for="(spot, i) in spots" :key="'s' + i" class="spot" :cx="spot[0]" :cy="spot[1]" :r="24 * unit" />
          <path v-if="row.length > 1" class="row" :d="'M' + row.join(' ')" />
        </g>
        <g v-for="handle in handles.filter((h) => h.view === view.key)" :key="handle.key" class="handle"
           tabindex="0" role="slider" :aria-label="handle.label" :aria-valuetext="handle.value"
           :aria-valuenow="Math.round(at(handle)[handle.moves === 'x' ? 0 : 1])" aria-valuemin="0"
           :aria-valuemax="Math.round(handle.most)" :data-handle="handle.key"
           @touchstart.prevent @pointerdown.stop="onGrip($event, handle, view)" @pointermove="onPull" @pointerup="onLoose"
           @pointercancel="onCancel" @focus="onGripFocus(handle)">
          <circle v-if="handle.ring" class="ring" :cx="at(handle)[0]" :cy="view.tall - at(handle)[1]" :r="handle.ring" />
          <line v-if="handle.across" class="across" x1="0" :x2="drawing.length"
                :y1="view.tall - at(handle)[1]" :y2="view.tall - at(handle)[1]" />
          <circle class="hit" :cx="at(handle)[0]" :cy="view.tall - at(handle)[1]" :r="22 * unit" />
          <circle :class="['grip', { far: handle.far }]" :cx="at(handle)[0]" :cy="view.tall - at(handle)[1]" :r="9 * unit" />
          <text :font-size="13 * unit" :stroke-width="4 * unit" :text-anchor="handle.anchor"
                :x="at(handle)[0] + { start: 14, middle: 0, end: -14 }[handle.anchor] * unit"
                :y="view.tall - at(handle)[1] - (handle.anchor === 'middle' ? 18 * unit : 0)">{{ handle.words }}</text>
        </g>
      </svg>
    </figure>
  </div>`;

const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const ACTS = ["r", "R", "t", "T", "d", "m", "PageUp", "PageDown", "Delete"];
const LEAVING = ["beforeunload", "pagehide"]; // what was moved last counts before the page goes
const PAUSE = 350; // after the last key until the place counts [ms]
const GLANCE = 150; // that the focus rests on a piece until it is chosen [ms]
const OFTEN = 40; // between two places that are told while dragging [ms]
const SLIGHT = 3; // a pointer that wanders less has only touched [px]

export default {
  template: SVG,
  props: { step: Number, above: String, front: String },
  data: () => ({ stale: false, drawing: null, selected: "", marked: [], row: [], spots: [], handles: [], fill: null, unit: 2,
                 moving: null, pulling: null, sent: {}, loose: {}, told: 0, timer: null, pressing: false }),
  mounted() {
    this.watcher = new ResizeObserver(() => this.measure());
    this.watcher.observe(this.$el.parentElement);
    for (const leaving of LEAVING) window.addEventListener(leaving, this.settle);
    this.$emit("ready");
  },
  unmounted() {
    this.watcher.disconnect();
    for (const leaving of LEAVING) window.removeEventListener(leaving, this.settle);
  },
  computed: {
    views() {
      if (!this.drawing) return [];
      return [
        { key: "above", title: this.above, tall: this.drawing.depth, ground: this.drawing.zones },
        { key: "front", title: this.front, tall: this.drawing.height, ground: this.drawing.skyline },
      ];
    },
    level() {
      return this.fill ?? this.drawing.water;
    },
    thirds() {
      const { length: l, depth: d } = this.drawing;
      return [[l / 3, 0, l / 3, d], [2 * l / 3, 0, 2 * l / 3, d], [0, d / 3, l, d / 3], [0, 2 * d / 3, l, 2 * d / 3]];
    },
  },
  methods: {
    // What the program tells: parts of the drawing that are new, and what is chosen.
    show(parts, names) {
      const { pieces, ...others } = parts;
      const all = { ...(this.drawing ? this.drawing.pieces : {}), ...pieces };
      for (const name of Object.keys(all)) if (!names.includes(name)) delete all[name];
      this.drawing = { ...(this.drawing || {}), ...others, pieces: all };
      for (const piece of Object.values(all)) {
        const to = this.sent[piece.name];
        if (to && Math.hypot(to[0] - piece.at[0], to[1] - piece.at[1]) < 0.2) delete this.sent[piece.name];
      }
      this.$nextTick(() => this.measure());
    },
    tell(state) {
      Object.assign(this, state);
      if (state.handles) this.loose = {};
    },
    measure() {
      const svg = this.$refs.above && this.$refs.above[0];
      if (svg && svg.clientWidth) this.unit = 1 / svg.getScreenCTM().a;
    },
    refuse() {
      this.sent = {}; // but not what is in the hand: that is a new try
      this.loose = {};
    },
    async focusPiece(name) {
      await this.$nextTick(); // it may be new
      const group = this.$refs.above[0].querySelector(`[data-piece="${CSS.escape(name)}"]`);
      if (group) group.focus({ preventScroll: true });
      this.look();
    },
    look() {
      const told = document.querySelector(".state"); // what is said of it stands right above
      for (const shown of [this.$refs.above[0], told]) if (shown) shown.scrollIntoView({ block: "nearest" });
    },
    // Where things are.
    ordered(view) {
      const key = view.key === "above" ? (p) => p.top : (p) => -p.near;
      return Object.values(this.drawing.pieces).sort((a, b) => key(a) - key(b));
    },
    legible(piece, view) { // of numbers that would lie on each other from the front, the nearest; all stand above
      if (view.key === "above") return true;
      const near = (other) => Math.hypot(other.middle[0] - piece.middle[0], other.centre - piece.centre) < 17 * this.unit;
      const order = this.ordered(view);
      return !order.slice(order.indexOf(piece) + 1).some(near);
    },
    shift(piece, view) {
      const to = this.now(piece);
      const [x, y] = [to[0] - piece.at[0], to[1] - piece.at[1]];
      if (!x && !y) return null;
      return view.key === "above" ? `translate(${x} ${-y})` : `translate(${x} 0)`;
    },
    now(piece) {
      const m = this.moving;
      return m && m.piece.name === piece.name ? m.to : this.sent[piece.name] || piece.at;
    },
    at(handle) {
      const p = this.pulling;
      return p && p.handle.key === handle.key ? p.to : this.loose[handle.key] || handle.at;
    },
    grasp(event, svg) {
      return { x: event.clientX, y: event.clientY, unit: 1 / svg.getScreenCTM().a };
    },
    wandered(event, from) {
      // Not by places in the drawing: it may be pushed along by what appears above it.
      return [(event.clientX - from.x) * from.unit, (from.y - event.clientY) * from.unit];
    },
    snapped(value, low, high) {
      return Math.min(Math.max(Math.round(value / this.step) * this.step, low), high);
    },
    inside(piece, x, y) {
      const [at, box] = [piece.at, piece.box];
      const fit = (v, i, from, to, side) =>
        this.snapped(v, Math.ceil((at[i] - from) / this.step) * this.step,
                     Math.floor((side - (to - at[i])) / this.step) * this.step);
      return [fit(x, 0, box[0], box[1], this.drawing.length), fit(y, 1, box[2], box[3], this.drawing.depth)];
    },
    often(name, told) {
      clearTimeout(this.later); // the last one is always told
      const left = this.told + OFTEN - performance.now();
      if (left > 0) {
        this.later = setTimeout(() => this.often(name, told), left);
        return;
      }
      this.told = performance.now();
      this.$emit(name, told);
    },
    // Pieces.
    onFocus(name) { // not what a held Tab key runs over: that would take the fields away below it
      if (this.pressing || name === this.selected) return;
      this.picking = setTimeout(() => this.$emit("pick", { name, touched: false }), GLANCE);
    },
    onBlur() {
      clearTimeout(this.picking);
    },
    onDown(event, piece, view) {
      if (event.button || !event.isPrimary) return;
      const group = event.currentTarget;
      this.settle();
      this.pressing = true; // the focus that follows is no choice of its own
      group.focus({ preventScroll: true });
      this.pressing = false;
      this.$emit("pick", { name: piece.name, touched: true });
      group.setPointerCapture(event.pointerId);
      const from = this.grasp(event, group.ownerSVGElement);
      this.moving = { piece, view, from, start: this.now(piece), to: this.now(piece),
                      pointer: event.pointerId, moved: false };
    },
    onMove(event) {
      const m = this.moving;
      if (!m || m.pointer !== event.pointerId) return;
      const [dx, up] = this.wandered(event, m.from);
      const dy = m.view.key === "above" ? up : 0;
      if (!m.moved && Math.hypot(dx, dy) < SLIGHT * this.unit) return;
      m.moved = true;
      const to = this.inside(m.piece, m.start[0] + dx, m.start[1] + dy);
      if (m.view.key === "front") to[1] = m.start[1];
      if (to[0] === m.to[0] && to[1] === m.to[1]) return;
      m.to = to;
      this.often("moving", { name: m.piece.name, x: to[0], y: to[1] });
    },
    onUp(event) {
      this.onMove(event); // where it is let go counts
      if (this.moving && this.moving.pointer === event.pointerId) this.settle();
    },
    onMore(event) { // a second finger or the palm: then no drag was meant
      if (!event.isPrimary && (this.moving || this.pulling)) this.onCancel();
    },
    onCancel() {
      this.moving = this.pulling = null;
      this.$emit("cancelled", {});
    },
    settle() {
      clearTimeout(this.timer);
      clearTimeout(this.later);
      this.loosen();
      const m = this.moving;
      this.moving = null;
      if (!m || !m.moved) return;
      if (m.to[0] === m.start[0] && m.to[1] === m.start[1]) {
        this.$emit("cancelled", {}); // back where it stood
        return;
      }
      this.sent[m.piece.name] = m.to;
      this.$emit("moved", { name: m.piece.name, x: m.to[0], y: m.to[1] });
    },
    // Handles: one number, or a place, that is pulled.
    onGripFocus(handle) {
      this.$emit("grip", { key: handle.key });
    },
    onGrip(event, handle, view) {
      if (event.button || !event.isPrimary) return;
      const group = event.currentTarget;
      this.settle();
      group.focus({ preventScroll: true });
      group.setPointerCapture(event.pointerId);
      const from = this.grasp(event, group.ownerSVGElement);
      this.pulling = { handle, from, start: this.at(handle), to: this.at(handle), pointer: event.pointerId };
    },
    onPull(event) {
      const p = this.pulling;
      if (!p || p.pointer !== event.pointerId) return;
      const [dx, up] = this.wandered(event, p.from);
      this.pullTo(p.start[0] + dx, p.start[1] + up);
    },
    pullTo(x, y) {
      const p = this.pulling;
      const { moves, base, most } = p.handle;
      const to = [moves.includes("x") ? this.snapped(x, 0, this.drawing.length) : p.start[0],
                  moves.includes("y") ? base + this.snapped(y - base, 0, most - base) : p.start[1]];
      if (to[0] === p.to[0] && to[1] === p.to[1]) return;
      p.to = to;
      p.pulled = true;
      this.often("pulling", { key: p.handle.key, x: to[0], y: to[1] });
    },
    onLoose(event) {
      this.onPull(event);
      if (this.pulling && this.pulling.pointer === event.pointerId) this.loosen();
    },
    loosen() {
      clearTimeout(this.later);
      const p = this.pulling;
      this.pulling = null;
      if (!p || !p.pulled) return;
      if (p.to[0] === p.start[0] && p.to[1] === p.start[1]) {
        this.$emit("cancelled", {});
        return;
      }
      this.loose[p.handle.key] = p.to; // until the program has answered
      this.$emit("pulled", { key: p.handle.key, x: p.to[0], y: p.to[1] });
    },
    // Keys.
    onKey(event) {
      if (!event.target.dataset || event.ctrlKey || event.metaKey || event.altKey) return;
      const { piece: name, handle: key } = event.target.dataset;
      const piece = this.drawing.pieces[name];
      const handle = this.handles.find((h) => h.key === key);
      const way = KEYS[event.key];
      if (way && (piece || handle)) {
        event.preventDefault();
        const far = (event.shiftKey ? 10 : 1) * this.step;
        if (piece) this.nudge(piece, way[0] * far, way[1] * far);
        else this.nudgeGrip(handle, way[0] * far, way[1] * far);
        clearTimeout(this.timer);
        this.timer = setTimeout(() => this.settle(), PAUSE);
      } else if (piece && (event.key === "Enter" || event.key === " ")) {
        event.preventDefault();
        this.$emit("pick", { name, touched: true });
      } else if (piece && ACTS.includes(event.key)) {
        event.preventDefault();
        this.settle();
        this.$emit("key", { name, key: event.key });
      }
    },
    nudge(piece, dx, dy) {
      if (!this.moving || this.moving.piece.name !== piece.name) {
        this.settle();
        const at = this.now(piece);
        this.moving = { piece, view: { key: "above" }, start: at, to: at, moved: true };
      }
      const m = this.moving;
      m.to = this.inside(piece, m.to[0] + dx, m.to[1] + dy);
      this.often("moving", { name: piece.name, x: m.to[0], y: m.to[1] });
    },
    nudgeGrip(handle, dx, dy) {
      if (!this.pulling || this.pulling.handle.key !== handle.key) {
        this.settle();
        this.pulling = { handle, start: this.at(handle), to: this.at(handle) };
      }
      this.pullTo(this.pulling.to[0] + dx, this.pulling.to[1] + dy);
    },
  },
};
