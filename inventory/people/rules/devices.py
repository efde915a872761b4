"""Tokens of devices and the codes that let a device in. Pure."""

import hashlib
import secrets
from datetime import timedelta

CODE_LASTS = timedelta(minutes=15)
# Wrong codes while one is open, after which it opens nothing: of four thousand million codes.
WRONG_CODES = 20
WORDS_IN_A_CODE = 4
TOKEN_PREFIX = "tide_"
# How exactly a device's last request is kept: a write for each request would be one too many.
SEEN_EVERY = timedelta(minutes=1)

# 256 short words that are told apart when read aloud over the noise of pumps.
_WORDS = """
acorn actor agent alarm album angle ankle apple apron arena arrow atlas attic autumn bacon badge
baker banjo basil basin beach beard berry bicycle bison blanket bottle boulder branch bread brick
bridge broom bucket buffalo butter button cabin cactus camel camera canal candle canoe canvas carbon
carpet carrot castle cedar cellar cement chalk cheese cherry chess chimney cinema circus clay clock
cloud clover cobalt coffee copper corner cotton cousin cradle crayon cricket crown cushion daisy
dancer desert diamond dinner doctor dolphin donkey dragon drawer eagle easel elbow ember engine
envelope fabric falcon farmer feather fence ferry fiddle finger flag flour flute forest fossil
fountain fox frost galaxy garden garlic gate ginger giraffe glacier glove granite grape guitar
hammer harbour harvest hazel helmet hill honey horizon hotel igloo insect island ivory jacket jaguar
jasmine jersey jewel jigsaw jungle kettle kitchen kite ladder lagoon lamp lantern laundry lemon
lentil letter lilac linen lizard lobby locket magnet mango maple marble market meadow melon mirror
mitten monkey moss mountain mustard napkin needle nettle nickel notebook nutmeg oak oasis olive
onion orange orchard oven owl oyster paddle palace pancake panther paper parcel parrot pasture peach
pebble pencil pepper piano picnic pigeon pillow pilot planet plum pocket pottery prairie puzzle
quarry quilt rabbit radish railway raven ribbon river rocket rope saddle saffron salad sandal saturn
scarf school shelf shovel silver sketch sledge sofa spider spoon squirrel stable statue summer
sunset table tailor tiger toast tomato tunnel turtle umbrella valley vanilla velvet violin wagon
walnut walrus water whistle willow window winter wolf zebra
"""
WORDS = tuple(_WORDS.split())


def new_code() -> str:
    """A code as it is shown: four words. 2^32 of them."""
    return " ".join(secrets.choice(WORDS) for _ in range(WORDS_IN_A_CODE))


def code_as_typed(text: str) -> str:
    """The same code, however its words were parted or written."""
    return " ".join(text.lower().replace("-", " ").replace(",", " ").split())


def new_token() -> str:
    """A token of 32 random bytes; the prefix lets a search for leaked secrets find it."""
    return TOKEN_PREFIX + secrets.token_urlsafe(32)


def token_hash(token: str) -> str:
    """What is kept of a token: it has too much chance in it to be guessed, so no slow hash is needed."""
    return hashlib.sha256(token.encode()).hexdigest()
