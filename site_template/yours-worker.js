// The worker that measures, and what is said where it cannot.
(() => {
  "use strict";

  const { text } = lapsekit;

  const PROBLEMS = {
    "not a picture": () => text("This file is no picture that this browser can open. Choose a JPEG, PNG or WebP file."),
    heic: () => text("This browser cannot open HEIC pictures. Save the photo as JPEG first (on many phones: share it, or set the camera to “most compatible”), or open this page in a browser that can."),
    "too large": () => text("There was not enough memory for this photo. Choose a smaller one."),
    failed: () => text("The photo could not be measured. It can be tried again."),
    folder: () => text("This page was opened from a folder, and browsers do not let pages from folders measure anything: that needs the site’s web address. Yours and ours are shown side by side all the same."),
    "no rule": () => text("This season’s way of measuring cannot be run in a browser. Yours and ours are shown side by side all the same."),
    forbidden: () => text("This browser, or the host of this site, does not let pages measure (it forbids WebAssembly or workers). Yours and ours are shown side by side all the same."),
    "too old": () => text("This browser is too old to measure (it lacks WebAssembly with SIMD). Yours and ours are shown side by side all the same."),
    "not loaded": () => text("What measuring needs could not be loaded. Is there a connection? Choose the photo again then. Yours and ours are shown side by side all the same."),
  };

  let worker = null;
  let ready = null; // a promise that the worker can measure; null while none is started
  let number = 0; // of questions so far
  const asked = new Map(); // questions that are not answered yet
  const amiss = (word) => Object.assign(new Error(word), { word });
  const ask = (question) => new Promise((done, failed) => {
    if (!worker) {
      failed(amiss("failed"));
      return;
    }
    number += 1;
    asked.set(number, { done, failed });
    worker.postMessage({ id: number, ...question });
  });
  // Whoever waits for an answer is told that none comes; the next photo starts another worker.
  const stop = (word) => {
    worker.terminate();
    [worker, ready] = [null, null];
    const waiting = [...asked.values()];
    asked.clear();
    for (const { failed } of waiting) failed(amiss(word));
  };
  const started = (rule) => {
    if (lapsekit.fromFolder) return Promise.reject(amiss("folder"));
    if (!rule) return Promise.reject(amiss("no rule"));
    if (!window.Worker || !window.OffscreenCanvas) return Promise.reject(amiss("too old"));
    return new Promise((done, failed) => {
      try {
        worker = new Worker(lapsekit.asset("canopy/worker.js"));
      } catch {
        failed(amiss("forbidden"));
        return;
      }
      let word = "forbidden"; // for what a worker fails that cannot even start
      worker.onerror = () => stop(word);
      worker.onmessage = ({ data }) => {
        const question = asked.get(data.id);
        if (!question) return;
        asked.delete(data.id);
        if (data.amiss) question.failed(amiss(data.amiss));
        else question.done(data.found);
      };
      ask({
        what: "start",
        programAt: lapsekit.asset("canopy/canopy.wasm"),
        ruleAt: new URL(rule, location.href).href,
      }).then(() => {
        word = "failed";
        done();
      }, failed);
    });
  };
  // Resolves when the worker can measure; a failed start is tried again when it is asked for again.
  const begun = (rule) => {
    ready = ready || started(rule).catch((error) => {
      if (worker) stop(error.word);
      ready = null;
      throw error;
    });
    return ready;
  };

  lapsekit.measuring = { begun, ask, amiss, problem: (word) => PROBLEMS[word]() };
})();
