// The tank from above and from the front: pieces are moved by pointer or by keys. The drawing
// itself comes from the program; here it only follows the hand until the program has answered.
const SVG = `
  <div class="board" @keydown="onKey">
    <figure v-for="view in views" :key="view.key" :class="'view ' + view.key">
      <figcaption>{{ view.title }}</figcaption>
      <svg :viewBox="'-8 -8 ' + (drawing.length + 16) + ' ' + (view.tall + 16)" :ref="view.key"
           role="group" :aria-label="view.title" @pointerdown="onFloor($event, view)">
        <rect class="glass" x="0" y="0" :width="drawing.length" :height="view.tall" />
        <g aria-hidden="true">
          <path v-for="(part, i) in view.ground" :key="i" :d="part.d" :class="part.fill ? 'zone' : 'height'"
                :fill="part.fill || 'none'" />
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
           @pointerdown.stop="onDown($event, piece, view)" @pointermove="onMove" @pointerup="onUp"
           @pointercancel="onCancel" @focus="onFocus(piece.name)">
          <path :d="piece[view.key]" :fill="piece.fill" />
          <text :x="piece.middle[0]" :y="view.key === 'above' ? drawing.depth - piece.middle[1]
                : drawing.height - piece.centre">{{ piece.number }}</text>
        </g>
        <g aria-hidden="true" v-if="view.key === 'above'">
          <path v-if="drawing.border" class="border" :d="drawing.border" />
          <circle v-for="(gap, i) in drawing.gaps" :key="'g' + i" class="gap" :cx="gap.x" :cy="gap.y" r="13" />
          <path v-if="row.length > 1" class="row" :d="'M' + row.join(' ')" />
        </g>
      </svg>
    </figure>
  </div>`;

const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const PAUSE = 350; // after the last key until the place counts [ms]
const OFTEN = 40; // between two places that are told while dragging [ms]

export default {
  template: SVG,
  props: { drawing: Object, selected: String, marked: Array, step: Number, above: String,
           front: String, fill: Number, row: Array },
  data: () => ({ moving: null, sent: {}, told: 0, timer: null, pressing: false }),
  computed: {
    views() {
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
  watch: {
    drawing() {
      for (const piece of this.drawing.pieces) {
        const to = this.sent[piece.name];
        if (to && Math.hypot(to[0] - piece.at[0], to[1] - piece.at[1]) < 0.2) delete this.sent[piece.name];
      }
    },
  },
  methods: {
    ordered(view) {
      const key = view.key === "above" ? (p) => p.top : (p) => -p.near;
      return [...this.drawing.pieces].sort((a, b) => key(a) - key(b));
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
    onFocus(name) {
      if (!this.pressing && name !== this.selected) this.$emit("pick", { name, touched: false });
    },
    place(event, svg) {
      return new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    },
    snapped(value, size, low, high) {
      const at = Math.round(value / this.step) * this.step;
      return Math.min(Math.max(at, low), high);
    },
    inside(piece, x, y) {
      const [at, box] = [piece.at, piece.box];
      const fit = (v, i, from, to, side) =>
        this.snapped(v, 0, Math.ceil((at[i] - from) / this.step) * this.step,
                     Math.floor((side - (to - at[i])) / this.step) * this.step);
      return [fit(x, 0, box[0], box[1], this.drawing.length), fit(y, 1, box[2], box[3], this.drawing.depth)];
    },
    onFloor(event, view) {
      if (view.key !== "above") return;
      const at = this.place(event, event.currentTarget);
      this.$emit("floor", { x: at.x, y: this.drawing.depth - at.y });
    },
    onDown(event, piece, view) {
      if (event.button) return;
      const group = event.currentTarget;
      this.settle();
      this.pressing = true; // the focus that follows is no choice of its own
      group.focus({ preventScroll: true });
      this.pressing = false;
      this.$emit("pick", { name: piece.name, touched: true });
      group.setPointerCapture(event.pointerId);
      const from = this.place(event, group.ownerSVGElement);
      this.moving = { piece, view, from, start: this.now(piece), to: this.now(piece),
                      pointer: event.pointerId, moved: false };
    },
    onMove(event) {
      const m = this.moving;
      if (!m || m.pointer !== event.pointerId) return;
      const at = this.place(event, event.currentTarget.ownerSVGElement);
      const [dx, dy] = [at.x - m.from.x, m.view.key === "above" ? m.from.y - at.y : 0];
      if (!m.moved && Math.hypot(dx, dy) < 2) return;
      m.moved = true;
      const to = this.inside(m.piece, m.start[0] + dx, m.start[1] + dy);
      if (m.view.key === "front") to[1] = m.start[1];
      if (to[0] === m.to[0] && to[1] === m.to[1]) return;
      m.to = to;
      this.tell();
    },
    onUp(event) {
      if (this.moving && this.moving.pointer === event.pointerId) this.settle();
    },
    onCancel() {
      this.moving = null;
      this.$emit("cancelled", {});
    },
    tell() {
      const now = performance.now();
      if (now - this.told < OFTEN) return;
      this.told = now;
      this.$emit("moving", { name: this.moving.piece.name, x: this.moving.to[0], y: this.moving.to[1] });
    },
    settle() {
      clearTimeout(this.timer);
      const m = this.moving;
      this.moving = null;
      if (!m || !m.moved || (m.to[0] === m.start[0] && m.to[1] === m.start[1])) return;
      this.sent[m.piece.name] = m.to;
      this.$emit("moved", { name: m.piece.name, x: m.to[0], y: m.to[1] });
    },
    refuse() {
      this.moving = null;
      this.sent = {};
    },
    focusPiece(name) {
      const group = this.$refs.above[0].querySelector(`[data-piece="${CSS.escape(name)}"]`);
      if (group) {
        group.focus();
        group.ownerSVGElement.scrollIntoView({ block: "nearest" });
      }
    },
    onKey(event) {
      const name = event.target.dataset && event.target.dataset.piece;
      const piece = this.drawing.pieces.find((p) => p.name === name);
      if (!piece || event.ctrlKey || event.metaKey || event.altKey) return;
      if (event.key === "Enter" || event.key === " ") {
        event.preventDefault();
        this.$emit("pick", { name, touched: true });
        return;
      }
      const way = KEYS[event.key];
      if (!way) {
        const known = ["r", "R", "t", "T", "d", "m", "PageUp", "PageDown", "Delete"].includes(event.key);
        if (known) {
          event.preventDefault();
          this.settle();
          this.$emit("key", { name, key: event.key });
        }
        return;
      }
      event.preventDefault();
      let m = this.moving;
      if (!m || m.piece.name !== name) {
        this.settle();
        m = this.moving = { piece, view: { key: "above" }, start: this.now(piece),
                              to: this.now(piece), moved: true };
      }
      const far = event.shiftKey ? 10 : 1;
      m.to = this.inside(piece, m.to[0] + way[0] * this.step * far, m.to[1] + way[1] * this.step * far);
      this.tell();
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.settle(), PAUSE);
    },
  },
};
