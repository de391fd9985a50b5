"""Sound of a page, rendered offline in Chromium, and its lines."""

from __future__ import annotations

import base64
import json

import numpy as np
from scipy.signal.windows import kaiser

from synth.lessons.passage import SAMPLE_RATE

RENDER = """(async () => {
  const given = unpacked(%s);
  if (given) DATA.recipes = given;
  const context = new OfflineAudioContext(1, %d, 48000);
  const node = await playerNode(context, %s);
  node.connect(context.destination);
  const samples = (await context.startRendering()).getChannelData(0);
  let text = "";
  const bytes = new Uint8Array(samples.buffer);
  for (let k = 0; k < bytes.length; k += 8192) text += String.fromCharCode(...bytes.subarray(k, k + 8192));
  return btoa(text);
})()"""


def rendered(page, recipes, order, given, seconds):
    """Samples (n,) that the page's audio thread makes of one order; `recipes`: in place of the page's own."""
    orders = json.dumps([{"order": order, "with": [given]}])
    code = RENDER % (json.dumps(recipes), round(seconds * SAMPLE_RATE), orders)
    return np.frombuffer(base64.b64decode(page.value(code)), dtype="<f4").astype(float)


def line(samples, frequency):
    """Amplitude of the line at about `frequency`, Hz, and its true frequency, from the phase of both halves."""
    half = samples.size // 2
    window = kaiser(half, 14.0)
    turning = np.exp(-2j * np.pi * frequency / SAMPLE_RATE * np.arange(samples.size))
    first, second = (
        2.0 * np.sum(part * window) / window.sum() for part in np.split(samples[: 2 * half] * turning[: 2 * half], 2)
    )
    moved = np.angle(second / first) / (2.0 * np.pi) * SAMPLE_RATE / half
    return abs(first), frequency + moved
