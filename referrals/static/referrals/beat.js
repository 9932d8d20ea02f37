// The ventilation beat: sound and vibration beside the moving shape, which needs no script.
// Both follow the clock of the shape's own animation, so that they never drift away from it.
(function () {
  "use strict";
  var shape = document.querySelector(".breath");
  var sound = document.getElementById("sound");
  var shake = document.getElementById("shake");
  if (!shape || !shape.getAnimations) { return; }
  document.querySelector(".helps").hidden = false;
  if (!navigator.vibrate) { shake.hidden = true; }

  var audio = null;
  var booked = -1;

  function say(button, on) {
    button.setAttribute("aria-pressed", on ? "true" : "false");
    button.textContent = on ? button.dataset.on : button.dataset.off;
  }
  function isOn(button) { return button.getAttribute("aria-pressed") === "true"; }

  sound.addEventListener("click", function () {
    var on = !isOn(sound);
    if (on && !audio) { audio = new (window.AudioContext || window.webkitAudioContext)(); }
    if (audio) { if (on) { audio.resume(); } else { audio.suspend(); } }
    booked = -1;
    say(sound, on);
  });
  shake.addEventListener("click", function () {
    say(shake, !isOn(shake));
    if (!isOn(shake)) { navigator.vibrate(0); }
  });

  function breath(seconds, inSeconds) {
    var from = audio.currentTime + inSeconds;
    var tone = audio.createOscillator();
    var loud = audio.createGain();
    tone.frequency.setValueAtTime(220, from);
    tone.frequency.linearRampToValueAtTime(330, from + seconds);
    loud.gain.setValueAtTime(0.0001, from);
    loud.gain.linearRampToValueAtTime(0.5, from + 0.05);
    loud.gain.setValueAtTime(0.5, from + seconds - 0.05);
    loud.gain.linearRampToValueAtTime(0.0001, from + seconds);
    tone.connect(loud).connect(audio.destination);
    tone.start(from);
    tone.stop(from + seconds);
  }

  function look() {
    var animation = shape.getAnimations()[0];
    if (!animation) { return; }
    var turn = animation.effect.getComputedTiming().duration;
    var at = Number(animation.currentTime) || 0;
    var next = Math.floor(at / turn) + 1;
    var wait = next * turn - at;
    if (wait > 250 || booked === next) { return; }
    booked = next;
    if (isOn(sound) && audio) { breath(turn / 3000, wait / 1000); }
    if (isOn(shake) && navigator.vibrate) {
      window.setTimeout(function () { navigator.vibrate(Math.round(turn / 3)); }, wait);
    }
  }
  window.setInterval(look, 100);
  document.querySelector(".rates").addEventListener("change", function () { booked = -1; });

  // A dark screen would hide the beat.
  function stayAwake() {
    if (navigator.wakeLock && document.visibilityState === "visible") {
      navigator.wakeLock.request("screen").catch(function () { /* the phone decides */ });
    }
  }
  document.addEventListener("visibilitychange", stayAwake);
  stayAwake();
}());
