// One of the two panes: takes the place of its picture only when the next one is there whole, and
// lays it onto the reference view.
(() => {
  "use strict";
  const { viewOf, matrixOf, cssOf, widthFor } = lapsekit.turning;

  const addressOf = (picture, width, kind) => `${lapsekit.root}${picture.stem}-${width}.${kind}`;

  // A picture of at least `needed` px, decoded. Kinds come best first, the last is read by all.
  const decoded = async (picture, kinds, needed, alt) => {
    const whole = document.createElement("picture");
    for (const kind of kinds.slice(0, -1)) {
      const source = document.createElement("source");
      source.type = `image/${kind}`;
      source.srcset = addressOf(picture, widthFor(picture.widths, needed), kind);
      whole.append(source);
    }
    const image = document.createElement("img");
    image.alt = alt;
    image.draggable = false;
    whole.append(image);
    const plain = widthFor(picture.fallback || picture.widths, needed);
    image.src = addressOf(picture, plain, kinds[kinds.length - 1]);
    await image.decode();
    return { whole, image };
  };

  lapsekit.pane = (element) => {
    const hold = element.querySelector(".two-hold");
    const tag = element.querySelector(".two-tag");
    let shown = null;
    let asked = 0;

    const lay = (box, reference) => {
      if (!shown || !element.clientWidth) return;
      const { image, picture } = shown;
      const size = { width: image.naturalWidth, height: image.naturalHeight };
      const view = viewOf(box, reference, element.clientWidth);
      image.style.width = `${size.width}px`;
      image.style.height = `${size.height}px`;
      image.style.transform = cssOf(matrixOf(picture.turn, size, view));
    };

    const clear = () => {
      asked += 1;
      shown = null;
      hold.replaceChildren();
      element.classList.add("hatched");
    };

    // True once the picture stands there; false when another was asked for in the meantime, whether
    // or not this one came. Fails only for the one that is still asked for.
    const show = async ({ picture, kinds, box, reference, alt, label }) => {
      if (!picture) {
        clear();
        tag.textContent = label;
        return true;
      }
      asked += 1;
      const mine = asked;
      const screen = Math.min(window.devicePixelRatio || 1, 2);
      const needed = widthFor(picture.widths, (element.clientWidth * screen) / (box ? box[2] : 1));
      if (shown && shown.picture === picture) {
        shown.image.alt = alt;
        lay(box, reference);
        if (shown.width >= needed) return true;
      }
      const came = await decoded(picture, kinds, needed, alt).catch((error) => {
        if (mine === asked) throw error;
      });
      if (mine !== asked) return false;
      const { whole, image } = came;
      shown = { picture, image, width: needed };
      lay(box, reference);
      hold.replaceChildren(whole);
      element.classList.remove("hatched");
      tag.textContent = label;
      return true;
    };

    return { show, lay, clear, has: () => Boolean(shown) };
  };
})();
