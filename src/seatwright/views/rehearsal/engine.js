"use strict";
/* The player: a loop that goes round, and a newer one crossed into it at the same sample.
   Nothing here knows the page, so that the same functions run in an offline context. */

const Engine = (() => {
  const LEAD = 0.01; // seconds ahead of the clock at which changes are scheduled

  /** A player that is silent until `start`. */
  function build(context, fade) {
    const out = context.createGain();
    out.gain.value = 0;
    out.connect(context.destination);
    return { context, out, fade, voice: null, begin: 0, from: 0, frames: 0, fadeEnd: 0 };
  }

  /** A buffer of raw samples: left, then right, float32. */
  function bufferOf(context, data, rate) {
    const samples = new Float32Array(data);
    const frames = samples.length / 2;
    const buffer = context.createBuffer(2, frames, rate);
    buffer.copyToChannel(samples.subarray(0, frames), 0);
    buffer.copyToChannel(samples.subarray(frames), 1);
    return buffer;
  }

  /** Seconds ahead that are safe: whatever the device asks for at once is rendered at once. */
  function lead(context) {
    return Math.max(LEAD, context.baseLatency || 0);
  }

  /** Start a loop from a place in it, in seconds, fading in. */
  function start(player, buffer, place) {
    const { context, fade } = player;
    const rate = context.sampleRate;
    const when = Math.ceil((context.currentTime + lead(context)) * rate) / rate;
    player.begin = when;
    player.from = Math.round(place * rate) / rate;
    player.voice = voice(player, buffer, when, player.from);
    ramp(player.voice.gain.gain, 0, 1, when, fade);
    player.fadeEnd = when + fade;
    return when;
  }

  /** Cross over to a newer loop at the same place. The two gains add up to 1 at every instant;
      a change during a crossfade waits for its end, so that no gain ever jumps. */
  function replace(player, buffer) {
    const { context, fade } = player;
    const rate = context.sampleRate;
    const soon = Math.max(context.currentTime + lead(context), player.fadeEnd);
    const when = Math.ceil(soon * rate) / rate;
    const old = player.voice;
    player.voice = voice(player, buffer, when, placeAt(player, when, buffer.duration));
    ramp(player.voice.gain.gain, 0, 1, when, fade);
    ramp(old.gain.gain, 1, 0, when, fade);
    old.source.stop(when + fade + 0.02);
    player.fadeEnd = when + fade;
    return when;
  }

  /** Fade out and end. */
  function stop(player) {
    const { context, fade, voice: old } = player;
    if (old) {
      const when = Math.max(context.currentTime + LEAD, player.fadeEnd);
      ramp(old.gain.gain, 1, 0, when, fade);
      old.source.stop(when + fade + 0.02);
      player.voice = null;
    }
  }

  function voice(player, buffer, when, offset) {
    const source = player.context.createBufferSource();
    source.buffer = buffer;
    source.loop = true;
    const gain = player.context.createGain();
    source.connect(gain).connect(player.out);
    source.start(when, offset);
    source.onended = () => gain.disconnect();
    return { source, gain };
  }

  function ramp(gain, from, to, when, seconds) {
    gain.setValueAtTime(from, when);
    gain.linearRampToValueAtTime(to, when + seconds);
  }

  /** Seconds into a loop of some length at a time of the context's clock, on a whole sample. */
  function placeAt(player, time, length) {
    const rate = player.context.sampleRate;
    const gone = Math.round((time - player.begin + player.from) * rate);
    const frames = Math.round(length * rate);
    return (((gone % frames) + frames) % frames) / rate;
  }

  /** Set the level in dB, without a click. */
  function level(player, decibels) {
    player.out.gain.setTargetAtTime(10 ** (decibels / 20), player.context.currentTime, 0.015);
  }

  /** When, on the page's own clock in ms, a time of the context's clock reaches the output. */
  function heardAt(context, time) {
    const stamp = context.getOutputTimestamp ? context.getOutputTimestamp() : null;
    if (stamp && stamp.performanceTime) {
      return stamp.performanceTime + (time - stamp.contextTime) * 1000;
    }
    const late = (context.baseLatency || 0) + (context.outputLatency || 0);
    return performance.now() + (time - context.currentTime + late) * 1000;
  }

  return { build, bufferOf, start, replace, stop, level, placeAt, heardAt };
})();
