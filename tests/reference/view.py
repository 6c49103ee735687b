"""Photographs a stand with OpenCV: each level's painting warped and laid over what is below.

    python view.py FOLDER

FOLDER has job.json (written by the bench `view` or by hand) and the paintings that it names. Writes
picture-N.png for the first and the last frame there, and to standard output a line of JSON: the versions
and the number of threads. Then, for every line on standard input, photographs all frames and writes a line:
seconds for each frame with this machine's cores, files not counted. Ends with its input.

Nothing here knows Panestep's code: the map from picture to painting follows from the similarity of
triangles and the thin-lens equation. Light is linear (IEC 61966-2-1), weighted by opacity, in 32-bit
floating point; OpenCV warps with INTER_LINEAR (16-bit paintings took it half as long again). Frames are
shared out among threads, one core to each; OpenCV's own threads within a frame took as long, and so did
NumPy on all channels at once instead of OpenCV plane by plane (measured with OpenCV 4.10.0 on two cores).
"""

import json
import math
import os
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np

folder = sys.argv[1]
with open(os.path.join(folder, "job.json")) as file:
    job = json.load(file)
columns, rows = job["size"]
lens = job["lens"]
GROUND = 0.18


def from_srgb(value):
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def to_srgb(light):
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)


# 8-bit value of every 16-bit amount of light.
TABLE = (to_srgb(np.arange(65536) / 65535.0) * 255.0 + 0.5).astype(np.uint8)


def painting(name):
    """Blue, green, red and opacity, 0 to 1, weighted by opacity."""
    picture = cv2.imread(os.path.join(folder, name), cv2.IMREAD_UNCHANGED)
    assert picture.dtype == np.uint8 and picture.shape[2] == 4, name
    value = picture.astype(np.float64) / 255.0
    light = from_srgb(value[..., :3]) * value[..., 3:]
    return np.concatenate([light, value[..., 3:]], -1).astype(np.float32)


def turned(degrees):
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, -s], [s, c]])


def matrix(level, pose, camera, focus_mm):
    """From a picture's pixel to the painting's."""
    distance = lens["height_mm"] + camera[2] - level["height_mm"] - pose[2] - level["glass_mm"]
    image = 1 / (1 / lens["focal_length_mm"] - 1 / focus_mm)
    pitch = lens["width_mm"] / columns * distance / image
    per_mm = level["pixels"][0] / level["width_mm"]
    flip = np.diag([1.0, -1.0])
    # Picture (right, down) to the stand (east, north), to the painting's own directions.
    to_level = turned(-pose[3]) @ turned(camera[3]) @ flip * pitch
    offset = turned(-pose[3]) @ np.array([camera[0] - pose[0], camera[1] - pose[1]])
    linear = flip @ to_level * per_mm
    middle = np.array(level["pixels"]) / 2 - 0.5
    shift = flip @ (offset - np.array(level["centre_mm"])) * per_mm + middle
    shift -= linear @ np.array([columns / 2 - 0.5, rows / 2 - 0.5])
    return np.column_stack([linear, shift])


def photograph(frame):
    planes = [np.full((rows, columns), GROUND, np.float32) for _ in range(3)]
    through = np.empty((rows, columns), np.float32)
    # From the farthest to the nearest.
    for level, art, pose in reversed(list(zip(job["levels"], paintings, frame["levels"]))):
        seen = cv2.warpAffine(
            art,
            matrix(level, pose, frame["camera"], frame["focus_mm"]),
            (columns, rows),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=0,
        )
        *own, opacity = cv2.split(seen)
        cv2.subtract(1.0, opacity, through)
        for plane, light in zip(planes, own):
            cv2.multiply(plane, through, plane)
            cv2.add(plane, light, plane)
    whole = cv2.merge(planes)
    light = cv2.multiply(whole, (65535.0,) * 4)
    return TABLE[np.clip(light + 0.5, 0, 65535).astype(np.uint16)]


paintings = [painting(level["art"]) for level in job["levels"]]
cv2.setNumThreads(1)
cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
frames = job["frames"]
for number in (0, len(frames) - 1):
    cv2.imwrite(os.path.join(folder, f"picture-{number}.png"), photograph(frames[number]))
about = {"opencv": cv2.__version__, "numpy": np.__version__, "threads": cores}
print(json.dumps(about), flush=True)
with ThreadPoolExecutor(cores) as pool:
    for _ in sys.stdin:
        start = time.perf_counter()
        for _ in pool.map(photograph, frames):
            pass
        print((time.perf_counter() - start) / len(frames), flush=True)
