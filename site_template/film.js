// The film: chapters as buttons, and the day that it shows told to ribbon and curves. Without this
// script the chapters are a list of times.
(() => {
  "use strict";
  const EVERY_MS = 250; // between two days that are told while it plays

  // The last entry that begins at or before a second; entries are in order.
  const at = (entries, second) => {
    let found = entries[0];
    for (const entry of entries) {
      if (entry[1] > second + 0.001) break;
      found = entry;
    }
    return found;
  };

  const withButtons = (section, video) => {
    for (const place of section.querySelectorAll(".chapter[data-start]")) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "chapter";
      button.dataset.start = place.dataset.start;
      button.append(...place.childNodes);
      button.addEventListener("click", () => {
        video.currentTime = Number(button.dataset.start) + 0.001;
      });
      place.replaceWith(button);
    }
    return [...section.querySelectorAll("button.chapter")];
  };

  const live = (section) => {
    const video = section.querySelector("video");
    const line = section.querySelector(".film-day");
    const buttons = withButtons(section, video);
    if (lapsekit.fromFolder) {
      const tracks = video.querySelectorAll("track");
      for (const track of tracks) track.remove();
      section.querySelector(".from-folder").hidden = !tracks.length;
    }
    if (!video.dataset.days) {
      line.remove();
      return;
    }
    const days = JSON.parse(video.dataset.days);
    const starts = new Map(days);
    let toldAt = 0;
    let told = "";
    const say = () => {
      const [day] = at(days, video.currentTime);
      line.textContent = lapsekit.longDay(day);
      const chapter = buttons.filter((b) => Number(b.dataset.start) <= video.currentTime + 0.002).pop();
      for (const button of buttons) {
        if (button === chapter) button.setAttribute("aria-current", "true");
        else button.removeAttribute("aria-current");
      }
      return day;
    };
    const tell = (now) => {
      const day = say();
      if (day === told || (!now && performance.now() - toldAt < EVERY_MS)) return;
      told = day;
      toldAt = performance.now();
      lapsekit.choose(day, video);
    };
    let pointing = false; // a jump that the ribbon asked for is not told back to it
    video.addEventListener("timeupdate", () => { if (!video.paused) tell(false); });
    video.addEventListener("pause", () => tell(true));
    video.addEventListener("seeked", () => {
      if (pointing) say();
      else if (video.paused) tell(true);
      pointing = false;
    });
    lapsekit.onChoose((day, from) => {
      if (from === video || !day || !video.paused || video.readyState < 1) return;
      const start = starts.get(day);
      if (start === undefined) return;
      pointing = true;
      told = day;
      video.currentTime = start + 0.001;
    });
  };

  for (const section of document.querySelectorAll(".film-whole")) live(section);
})();
