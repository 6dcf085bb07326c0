// Opens a picture at its full size, to be moved and drawn nearer. Without this the picture is a
// plain link to the same file.
(() => {
  "use strict";
  const MOST = 4; // screen pixels to one of the picture
  const STEP = 1.4;
  const MOVE = 60;

  const make = (tag, attributes, children = []) => {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    element.append(...children);
    return element;
  };
  const button = (name, sign) => make("button", { type: "button", "aria-label": name, title: name }, [sign]);

  let shown = null;

  // What is seen: the picture's scale, and where its left upper corner lies in the window.
  class View {
    constructor(frame, picture, width, height) {
      Object.assign(this, { frame, picture, width, height, scale: 1, left: 0, top: 0 });
    }
    least() {
      const { clientWidth, clientHeight } = this.frame;
      return Math.min(clientWidth / this.width, clientHeight / this.height);
    }
    whole() {
      this.scale = this.least();
      this.place();
    }
    place() {
      const held = (at, size, room) => (size <= room ? (room - size) / 2 : Math.min(0, Math.max(room - size, at)));
      const { clientWidth, clientHeight } = this.frame;
      this.left = held(this.left, this.width * this.scale, clientWidth);
      this.top = held(this.top, this.height * this.scale, clientHeight);
      const { style } = this.picture;
      style.width = `${this.width}px`;
      style.height = `${this.height}px`;
      style.transform = `translate(${this.left}px, ${this.top}px) scale(${this.scale})`;
    }
    // Draws nearer by a factor; what lies at x, y stays where it is.
    nearer(factor, x = this.frame.clientWidth / 2, y = this.frame.clientHeight / 2) {
      const least = this.least();
      const scale = Math.min(Math.max(least, MOST / window.devicePixelRatio), Math.max(least, this.scale * factor));
      this.left = x - ((x - this.left) * scale) / this.scale;
      this.top = y - ((y - this.top) * scale) / this.scale;
      this.scale = scale;
      this.place();
    }
    move(x, y) {
      this.left += x;
      this.top += y;
      this.place();
    }
  }

  const keys = {
    "+": (view) => view.nearer(STEP),
    "=": (view) => view.nearer(STEP),
    "-": (view) => view.nearer(1 / STEP),
    0: (view) => view.whole(),
    ArrowLeft: (view) => view.move(MOVE, 0),
    ArrowRight: (view) => view.move(-MOVE, 0),
    ArrowUp: (view) => view.move(0, MOVE),
    ArrowDown: (view) => view.move(0, -MOVE),
    Home: (view) => view.move(Infinity, 0),
    End: (view) => view.move(-Infinity, 0),
  };

  // One finger or the pointer moves the picture, two draw it nearer.
  const listen = (view) => {
    const { frame } = view;
    const fingers = new Map();
    const middle = () => {
      const all = [...fingers.values()];
      const mean = (name) => all.reduce((sum, each) => sum + each[name], 0) / all.length;
      const away = all.length > 1 ? Math.hypot(all[0].x - all[1].x, all[0].y - all[1].y) : 0;
      return { x: mean("x"), y: mean("y"), away };
    };
    const at = (event) => {
      const box = frame.getBoundingClientRect();
      return { x: event.clientX - box.left, y: event.clientY - box.top };
    };
    frame.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      event.preventDefault();
      frame.focus();
      frame.setPointerCapture(event.pointerId);
      fingers.set(event.pointerId, at(event));
    });
    frame.addEventListener("pointermove", (event) => {
      if (!fingers.has(event.pointerId)) return;
      const before = middle();
      fingers.set(event.pointerId, at(event));
      const now = middle();
      view.move(now.x - before.x, now.y - before.y);
      if (before.away && now.away) view.nearer(now.away / before.away, now.x, now.y);
    });
    for (const name of ["pointerup", "pointercancel"]) {
      frame.addEventListener(name, (event) => fingers.delete(event.pointerId));
    }
    frame.addEventListener("wheel", (event) => {
      event.preventDefault();
      const { x, y } = at(event);
      const lines = event.deltaMode ? 30 * event.deltaY : event.deltaY;
      view.nearer(Math.exp(-Math.max(-120, Math.min(120, lines)) / 300), x, y);
    }, { passive: false });
    frame.addEventListener("dblclick", (event) => {
      const { x, y } = at(event);
      if (view.scale > 1.01 * view.least()) view.whole();
      else view.nearer(1 / view.scale / window.devicePixelRatio > 1.5 ? 1 / view.scale : 2.5, x, y);
    });
  };

  const open = (link) => {
    if (shown) return;
    const small = link.querySelector("img");
    const [width, height] = link.dataset.zoom.split(" ").map(Number);
    const picture = make("img", { alt: small.alt, draggable: "false" });
    const wait = make("p", { class: "zoom-wait", role: "status" }, [lapsekit.text("The full picture is loading.")]);
    const frame = make("div", {
      class: "zoom-frame",
      tabindex: "0",
      role: "group",
      "aria-label": lapsekit.text("The picture at full size. Plus and minus draw it nearer or farther, arrow keys move it."),
    }, [picture]);
    const nearer = button(lapsekit.text("Nearer"), "+");
    const farther = button(lapsekit.text("Farther"), "−");
    const whole = button(lapsekit.text("The whole picture"), "□");
    const close = button(lapsekit.text("Close"), "×");
    const tools = make("div", { class: "zoom-tools" }, [nearer, farther, whole, close]);
    const dialog = make("dialog", { class: "zoomed", "aria-label": lapsekit.text("Picture") }, [frame, wait, tools]);
    const view = new View(frame, picture, width, height);

    picture.src = small.currentSrc || small.src; // what is here already, until the large one is
    const large = new Image();
    large.onload = () => { picture.src = large.src; wait.hidden = true; };
    large.onerror = () => { wait.textContent = lapsekit.text("The full picture could not be loaded; this is the smaller one."); };
    large.src = link.href;

    nearer.onclick = () => view.nearer(STEP);
    farther.onclick = () => view.nearer(1 / STEP);
    whole.onclick = () => view.whole();
    close.onclick = () => dialog.close();
    dialog.addEventListener("keydown", (event) => {
      if (event.altKey || event.ctrlKey || event.metaKey) return;
      event.stopPropagation(); // arrows turn no day behind it
      const act = keys[event.key];
      if (!act) return;
      event.preventDefault();
      act(view);
    });
    const fit = () => view.nearer(1);
    window.addEventListener("resize", fit);
    dialog.addEventListener("close", () => {
      window.removeEventListener("resize", fit);
      large.onload = large.onerror = null;
      dialog.remove();
      shown = null;
      link.focus();
    });
    document.body.append(dialog);
    shown = dialog;
    dialog.showModal();
    frame.focus();
    view.whole();
    listen(view);
  };

  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-zoom]");
    const plain = !event.button && !event.ctrlKey && !event.metaKey && !event.shiftKey && !event.altKey;
    if (!link || !plain || !window.HTMLDialogElement) return;
    event.preventDefault();
    open(link);
  });
})();
