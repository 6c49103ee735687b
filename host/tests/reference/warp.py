"""Values for host/tests/picture.rs: a painting warped by an independent general-purpose library.

OpenCV (opencv-python-headless, version printed) with warpAffine, bilinear, which rounds places to
1/32 of a pixel: hence the tolerance of the test. The matrix is
written out here from the similarity of triangles, without Panestep's code.

    python warp.py > warp.csv
"""
import math

import cv2
import numpy as np

print(f"# OpenCV {cv2.__version__}, NumPy {np.__version__}")
print("# column,row,linear light 0..65535 of red,green,blue")

# The painting: 64 x 48 pixels, red, green, blue and opacity by integer arithmetic, 8 bits.
W, H = 64, 48
y, x = np.mgrid[0:H, 0:W]
art = np.stack([(x * 4) % 256, (y * 5) % 256, (x * y) % 256, 64 + (x + 2 * y) % 192], -1)
value = art[..., :3] / 255.0
light = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
opacity = art[..., 3:] / 255.0
weighted = np.concatenate([light * opacity, opacity], -1).astype(np.float32)

# The stand of the test: f 50 mm, focused at 500 mm, level at 500 mm; picture 36 x 24 mm, 90 x 60.
f, s = 50.0, 500.0
v = 1 / (1 / f - 1 / s)
pitch = 36.0 / 90 * s / v  # mm on the level to a picture pixel
per_mm = W / 256.0  # art pixels to a mm: 256 mm wide
east, north, turn = 11.3, -7.9, math.radians(8.0)
camera_east, camera_north, camera_turn = 3.1, 4.7, math.radians(-5.0)
angle = camera_turn - turn
c, n = math.cos(angle), math.sin(angle)
# Picture offset from the axis (east, north) -> level's own plane -> art pixels.
rotate = np.array([[c, -n], [n, c]])
back = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
offset = back @ np.array([camera_east - east, camera_north - north])
flip = np.diag([1.0, -1.0])
linear = flip @ rotate @ flip * (pitch * per_mm)
shift = flip @ offset * per_mm + np.array([W / 2 - 0.5, H / 2 - 0.5])
shift -= linear @ np.array([44.5, 29.5])
matrix = np.column_stack([linear, shift])
seen = cv2.warpAffine(
    weighted, matrix, (90, 60), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
    borderMode=cv2.BORDER_CONSTANT, borderValue=0,
)
result = seen[..., :3] + 0.18 * (1 - seen[..., 3:])
for row in range(2, 60, 6):
    for column in range(3, 90, 7):
        r, g, b = result[row, column] * 65535
        print(f"{column},{row},{r:.1f},{g:.1f},{b:.1f}")
