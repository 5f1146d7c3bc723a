"use strict";
/* The player: a loop that goes round, and a newer one crossed into it at the same sample.
   Nothing here knows the page, so that the same functions run in an offline context. */

const Engine = (() => {
  const SHORTEST = 0.5; // seconds of a stretch that are worth beginning with
  const LEAD = 0.02; // seconds ahead of the clock at which changes are scheduled

  /** A player that is silent until `start`. */
  function build(context, fade) {
    const out = context.createGain();
    out.gain.value = 0;
    out.connect(context.destination);
    return { context, out, fade, voice: null, begin: 0, from: 0, fadeEnd: 0, held: null };
  }

  /** A buffer of samples: left, then right. */
  function bufferOf(context, samples, rate) {
    const frames = samples.length / 2;
    const buffer = context.createBuffer(2, frames, rate);
    buffer.copyToChannel(samples.subarray(0, frames), 0);
    buffer.copyToChannel(samples.subarray(frames), 1);
    return buffer;
  }

  /** Seconds ahead that are safe: whatever the device asks for at once is rendered at once, and
      this script may lose the processor between looking at the clock and starting a voice. */
  function lead(context) {
    return Math.max(LEAD, 2 * (context.baseLatency || 0));
  }

  /** Start a loop from a place in it, in seconds, fading in. */
  function start(player, buffer, place) {
    const { context, fade } = player;
    const rate = context.sampleRate;
    const when = next(player);
    player.begin = when;
    player.from = Math.round(place * rate) / rate;
    player.voice = voice(player, buffer, when, player.from, true);
    ramp(player.voice.gain.gain, 0, 1, when, fade);
    player.fadeEnd = when + fade;
    return when;
  }

  /** Cross over to the first stretch of a newer loop, of which the rest is still on its way.
      The older loop goes on unheard and comes back before the stretch ends, should the rest be
      late: there is never silence. Null where the stretch lies elsewhere by now, or where the
      rest of an earlier one never came: then the whole is waited for. */
  function begin(player, buffer, place, length) {
    const when = next(player);
    const offset = modulo(player, placeAt(player, when, length) - place, length);
    const left = buffer.duration - offset;
    if (left < SHORTEST || player.held) {
      return null;
    }
    const old = player.voice;
    const back = when + left - 2 * player.fade;
    player.voice = voice(player, buffer, when, offset, false);
    cross(player, old, player.voice, when);
    cross(player, player.voice, old, back);
    player.held = { old, back };
    player.fadeEnd = when + player.fade;
    return when;
  }

  /** Cross over to a newer loop at the same place. The two gains add up to 1 at every instant;
      a change during a crossfade waits for its end, so that no gain ever jumps. */
  function replace(player, buffer) {
    const when = settled(player, next(player));
    const old = player.voice;
    player.voice = voice(player, buffer, when, placeAt(player, when, buffer.duration), true);
    cross(player, old, player.voice, when);
    old.source.stop(when + player.fade); // later a stretch could be on its way back
    player.fadeEnd = when + player.fade;
    return when;
  }

  /** When a change can be made: on a whole sample, ahead of the clock, after the last crossfade. */
  function next(player) {
    const rate = player.context.sampleRate;
    const soon = Math.max(player.context.currentTime + lead(player.context), player.fadeEnd);
    return Math.ceil(soon * rate) / rate;
  }

  /** Leave one voice of a stretch and the older loop behind it; from when on that is heard alone. */
  function settled(player, when) {
    const { held, fade } = player;
    player.held = null;
    if (!held) {
      return when;
    }
    if (when + fade < held.back) {
      held.old.source.stop(when); // what is scheduled for going back is heard of nothing
      return when;
    }
    player.voice.source.stop(held.back + fade + 0.02);
    player.voice = held.old;
    return Math.max(when, held.back + fade);
  }

  /** Fade out and end. */
  function stop(player) {
    if (player.voice) {
      const when = settled(player, next(player));
      ramp(player.voice.gain.gain, 1, 0, when, player.fade);
      player.voice.source.stop(when + player.fade + 0.02);
      player.voice = null;
    }
  }

  function cross(player, from, to, when) {
    ramp(from.gain.gain, 1, 0, when, player.fade);
    ramp(to.gain.gain, 0, 1, when, player.fade);
  }

  function voice(player, buffer, when, offset, loop) {
    const source = player.context.createBufferSource();
    source.buffer = buffer;
    source.loop = loop;
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
    return modulo(player, time - player.begin + player.from, length);
  }

  /** Seconds from 0 to a loop's length, on a whole sample. */
  function modulo(player, seconds, length) {
    const rate = player.context.sampleRate;
    const frames = Math.round(length * rate);
    return (((Math.round(seconds * rate) % frames) + frames) % frames) / rate;
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

  return { build, bufferOf, start, begin, replace, stop, level, placeAt, heardAt };
})();
