"""Plain words for the words of crews: short, friendly, easily said and spelled; none that hurts."""

_QUALITIES = """
airy amber ample apple azure balmy beige brave bright brisk calm candid cheery chilly clean clever coral
cosy crimson crisp curly dainty daring dotted dusty eager early easy fair fancy fast feathery fleet floral
fluffy fond fresh frosty gentle glad gleaming golden grand grassy green happy hardy heroic honest hopeful
indigo ivory jade jolly joyful keen kind latest leafy lemon level light lilac lively lofty lucky lunar magic
maroon mellow merry mighty mild minty misty modest mossy neat nimble noble open patient pearly pebbly pink
playful polite proud purple quick quiet rapid ready rosy round royal ruby rustic sandy scarlet silent silky
silver smart smooth snowy snug soft solar spotted spring steady stripy strong sturdy sunny super swift tall
tawny teal tidy tiny tranquil trusty velvet violet vivid warm wavy welcome wise witty wooden woolly young
zesty
"""
_THINGS = """
acorn almond anchor badger bagel balloon bamboo banjo barn basket beacon bean bell berry biscuit boat bonnet
book bridge broom bucket button cabin candle canoe carrot castle cedar cello chalk cherry clock cloud clover
comet compass cookie cottage crayon crown daisy desk dolphin drum duck eagle easel falcon feather fern
fiddle finch flute forest fountain fox garden gate giraffe glacier globe guitar hammock harbour harp
hedgehog heron hill island jacket jam jigsaw kettle kite ladder lake lamp lantern lark lemonade lentil
lighthouse lizard maple marble meadow melon mitten moon mountain muffin needle nest notebook nut oak oar
ocean orchard otter owl paddle pancake panda parrot pasta peach pear pebble pencil penguin piano pillow pine
planet plum pocket pond poppy pretzel puffin pumpkin puzzle rabbit raft rainbow raven ribbon river robin
rocket ruler saddle sail salad sandal scarf scooter seal shell shovel sky sparrow spoon squirrel star stone
stork swan table tandem tea tent thimble tiger tomato trumpet tulip turtle umbrella valley village violin
wagon walnut waterfall whistle window yarn
"""
QUALITIES = tuple(_QUALITIES.split())
THINGS = tuple(_THINGS.split())
