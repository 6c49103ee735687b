"""Values for host/tests/picture.rs: even levels laid over one another by an independent library.

Pillow (version printed), `Image.alpha_composite`, which works on 8-bit values. The values it is given
are amounts of light, not sRGB: the test turns them into sRGB of 16 bits for Panestep. Pillow rounds
after every level: hence the tolerance of the test.

    python blend.py > blend.csv
"""
import random

import PIL
from PIL import Image

LEVELS = 5

print(f"# Pillow {PIL.__version__}")
print("# red,green,blue,opacity of each of", LEVELS, "levels from the nearest to the farthest; red,green,blue")
draw = random.Random(6)
for _ in range(40):
    levels = [[draw.randrange(256) for _ in range(4)] for _ in range(LEVELS)]
    # What is farthest hides the ground.
    levels[-1][3] = 255
    behind = Image.new("RGBA", (1, 1), tuple(levels[-1]))
    for level in reversed(levels[:-1]):
        behind = Image.alpha_composite(behind, Image.new("RGBA", (1, 1), tuple(level)))
    values = [value for level in levels for value in level] + list(behind.getpixel((0, 0))[:3])
    print(",".join(map(str, values)))
