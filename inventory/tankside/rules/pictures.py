"""How large the pictures are that the house keeps: longest sides, px."""

PICTURE = 1600
THUMBNAIL = 160
