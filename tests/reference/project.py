"""Projects points of a story and of a stand with OpenCV's pinhole camera.

OpenCV's camera looks along z, with x to the right and y down; so does the world here: x east,
y south, z ahead (story) or down from the lens (stand). Writes JSON to standard output.
"""

import json
import math
from importlib.metadata import version

import cv2
import numpy as np

STAND = {
    "focal_length_mm": 50.0,
    "picture_mm": [36.0, 24.0],
    "pixels": [6000, 4000],
    "lens_height_mm": 1600.0,
    "focus": 1,
    # From the lens downwards: height of the painted face, thickness, index, face.
    "levels": [
        {"height_mm": 1150.0, "thickness_mm": 6.0, "index": 1.52, "art": "upper"},
        {"height_mm": 820.0, "thickness_mm": 4.0, "index": 1.52, "art": "under"},
        {"height_mm": 450.0, "thickness_mm": 10.0, "index": 1.6, "art": "upper"},
        {"height_mm": 60.0, "thickness_mm": 3.0, "index": 1.5, "art": "under"},
    ],
}
SHOT = {
    # Story distance at the reference frame, or null for far.
    "distances_mm": [3000.0, 5200.0, 14000.0, None],
    "reference_frame": 1,
    # frame, east, north, ahead (story mm), roll (degrees)
    "viewer": [
        [1, 0.0, 0.0, 0.0, 0.0],
        [17, 120.0, -15.0, 160.0, 2.5],
        [48, 310.0, 40.0, 700.0, -6.0],
        [96, -250.0, 95.0, 1400.0, 11.0],
    ],
}
POINTS = [[0.0, 0.0], [112.5, 61.25], [-140.0, 88.0], [73.0, -95.5]]
# Poses of a stand that have nothing to do with the shot: camera east, north, lift, turn; image
# distance; for each level east, north, lift, turn.
POSES = [
    {
        "camera": [0.0, 0.0, 0.0, 0.0],
        "image_mm": 53.25,
        "levels": [[0.0, 0.0, 0.0, 0.0], [12.0, -7.5, 30.0, 0.0],
                   [-40.0, 22.0, -15.5, 4.0], [1.25, 2.5, 0.0, -30.0]],
    },
    {
        "camera": [33.0, -18.0, 75.0, 7.5],
        "image_mm": 54.5,
        "levels": [[5.0, 6.0, 7.0, 8.0], [-12.0, 7.5, -30.0, 1.0],
                   [40.0, -22.0, 15.5, -4.0], [-1.25, -2.5, 3.0, 90.0]],
    },
]


def shift(level):
    return level["thickness_mm"] * (1.0 - 1.0 / level["index"])


def apparent(index, camera_lift=0.0, lift=0.0):
    """Apparent distance from the entrance pupil to a level's art."""
    levels = STAND["levels"]
    glass = sum(shift(level) for level in levels[:index])
    if levels[index]["art"] == "under":
        glass += shift(levels[index])
    height = levels[index]["height_mm"] + lift
    return STAND["lens_height_mm"] + camera_lift - height - glass


def camera_matrix(image_mm):
    (width, height), (columns, rows) = STAND["picture_mm"], STAND["pixels"]
    return np.array([
        [image_mm * columns / width, 0.0, columns / 2.0],
        [0.0, image_mm * rows / height, rows / 2.0],
        [0.0, 0.0, 1.0],
    ])


def project(points, image_mm, place, roll):
    """`roll`: how far the camera has turned counter-clockwise, degrees. The world then turns
    clockwise in the picture, which is OpenCV's positive sense about z."""
    turn = np.array([0.0, 0.0, math.radians(roll)])
    matrix, _ = cv2.Rodrigues(turn)
    offset = -matrix @ np.array(place)
    pixels, _ = cv2.projectPoints(
        np.array(points, dtype=np.float64), turn, offset, camera_matrix(image_mm), None
    )
    return pixels.reshape(-1, 2).tolist()


def story():
    focus = apparent(STAND["focus"])
    image_mm = 1.0 / (1.0 / STAND["focal_length_mm"] - 1.0 / focus)
    frames = []
    for frame, east, north, ahead, roll in SHOT["viewer"]:
        levels = []
        for index, distance in enumerate(SHOT["distances_mm"]):
            if distance is None:
                # Far enough that no travel shows in double precision's pixels.
                size, place = 1.0, [0.0, 0.0, 0.0]
                distance = apparent(index)
            else:
                size = distance / apparent(index)
                place = [east, -north, ahead]
            points = [[x * size, -y * size, distance] for x, y in POINTS]
            levels.append(project(points, image_mm, place, roll))
        frames.append({"frame": frame, "levels": levels})
    return frames


def stand():
    poses = []
    for pose in POSES:
        east, north, lift, turn = pose["camera"]
        levels = []
        for index, (e, n, up, around) in enumerate(pose["levels"]):
            c, s = math.cos(math.radians(around)), math.sin(math.radians(around))
            depth = apparent(index, lift, up)
            points = [[c * x - s * y + e, -(s * x + c * y + n), depth] for x, y in POINTS]
            levels.append(project(points, pose["image_mm"], [east, -north, 0.0], turn))
        poses.append(levels)
    return poses


print(json.dumps({
    "library": "opencv-python-headless",
    "version": version("opencv-python-headless"),
    "function": "cv2.projectPoints",
    "inputs": {"stand": STAND, "shot": SHOT, "points": POINTS, "poses": POSES},
    "story": story(),
    "stand": stand(),
}, indent=1))
