"""cmyk.jpg and cmyk.tif for host/tests/view.rs: an even grey in the four colours of print, written by
Pillow 13.0.0.

    python cmyk.py
"""
from PIL import Image

picture = Image.new("CMYK", (64, 48), (0, 0, 0, 135))
picture.save("cmyk.jpg", quality=95)
picture.save("cmyk.tif", compression="tiff_lzw")
