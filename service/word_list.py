"""Plain words for the words of crews: short, friendly, easily said and spelled; none that hurts."""

_QUALITIES = """
active airy alert alpine amazed amber ample amusing animated apple aquatic arctic artful autumn avid awake
azure balmy beaming beige blissful blooming blue bold bouncy braided brave bright brisk bronze bubbly buoyant
buttery buzzing calm candid canny caring carved charming chatty cheerful cheery chilly chirpy clean clever
climbing cloudy coastal cobalt comfy compact copper coral cordial cosy courteous creative crimson crisp
crunchy cuddly curious curly curved dainty dancing dapper daring dashing delicate delightful dewy diligent
dotted downy dreamy dusty dynamic eager early earnest easy electric elfin emerald enchanted engaging
excellent expert fabled fair faithful famous fancy farming fast feathery festive fleet floating floral
flowery flowing fluent fluffy flying foggy fond fragrant fresh friendly frilly frosty fruity funny gallant
generous genial gentle genuine gifted giggly ginger glad glassy gleaming glittery glorious glossy glowing
golden graceful gracious grainy grand grassy grateful green grinning groovy growing handmade handy happy
hardy harvest hazel hearty helpful heroic hilly honest honey hopeful humble humming hushed icy indigo inland
inventive ivory jade jaunty jazzy jolly joyful jumping keen kind kindly knitted lasting latest laughing
lavender lavish leafy leaping lemon level light lilac lilting limber lively lofty lovely loyal lucid lucky
luminous lunar magenta magic magnetic marine maroon mauve mellow melodic merry midnight mighty mild mindful
minty misty modest mossy musical mystic navy nearby neat nice nifty nimble noble nutty oceanic olive open
orange ornate oval painted pastel patient peaceful peachy pearly pebbly peppy pink playful plucky plush
poetic polar polished polite precise prompt proud purple quaint quick quiet quilted radiant rainy rapid ready
refined relaxed reliable ringing ripe rolling roomy rosewood rosy round royal ruby rustic saffron salty sandy
sapphire savvy scarlet scenic serene shady shared sheltered shining shiny silent silky silver sincere singing
sleek sleepy smart smiling smooth snappy snowy snug sociable social soft solar sparkly special speedy spicy
spinning splendid spongy sporty spotted sprightly spring square starry stately steady stellar striped stripy
strong sturdy subtle sugary summer sunny super superb supple swift swinging swirling tall tangy tasty tawny
teal thankful thoughtful tidy timely tiny toasty tranquil tropical trusty tuneful twin twinkling twirling
upbeat valiant velvet verdant vibrant vintage violet vivid vocal volcanic wandering warm watchful wavy waxy
welcome whistling windy winged winning winter wise witty wonderful wooden woolly worthy woven young yummy
zesty zippy
"""
_THINGS = """
abacus acorn album almond alpaca anchor apricot apron arrow artist aspen atlas avocado axle badge badger
bagel bakery ballet balloon bamboo banjo barn barrel basil basket bay beach beacon bean beet beetle bell
bench berry bicycle bike birch bird biscuit bison blanket blossom blueberry boat bonnet book bottle bow bowl
bowtie bracelet branch bread breeze brick bridge broccoli brook broom brush bubble bucket bud buffalo
bumblebee bus butter butterfly button cabbage cabin cactus cake calendar camel camera camp canal canary
candle canoe canvas captain caravan cardigan carrot cashew castle cat caterpillar cave cedar celery cello
chair chalk cheese cheetah cherry chess chestnut chimney chipmunk circle circus citrus city clarinet cliff
clock cloud clover coast coat coconut coin comet compass cone cookbook cookie corn cottage cotton couch crane
crayon creek cricket crocus crown crystal cube cucumber cup cupboard curtain cushion cymbal daffodil dahlia
daisy dance deer delta desert desk diamond dinosaur dolphin dome domino donkey donut door doorbell dragon
dragonfly drawing dream drum duck dune eagle easel eggplant elephant elm emu envelope falcon farm feather
fern ferry festival fiddle field fig finch fir fish flag flagpole flame flamingo flower flute football forest
fountain fox frame frog fruit fudge galaxy gallery garden garland garlic gate gazelle gecko gift giraffe
glacier glasses glider globe glove goose grape grasshopper gravel grove guitar gull hammer hammock hamster
harbour harp hat hawk hazelnut headband hearth heather hedgehog helmet heron hill hoop horizon horse ibis
icicle igloo iris island ivy jacket jaguar jam jar jasmine jellyfish jewel jigsaw journal journey jungle
juniper kangaroo kayak kelp kettle key keyboard kingfisher kitchen kite kiwi koala ladder lagoon lake lamp
lantern lark lawn leaf leek lemonade lemur lentil leopard letter lettuce library lighthouse lily lime lion
lizard llama lobster lotus lynx macaw magnet magnolia magpie mandolin mango mantle map maple maraca marble
marigold market meadow meadowlark melody melon mill mint mirror mitten moon moose mosaic moss mountain mouse
muffin mug museum mushroom music napkin nectar needle nest noodle notebook nut oak oar oasis oatmeal ocean
octopus onion opal opera orca orchard orchestra orchid ostrich otter oven owl paddle pagoda paint palace palm
pancake panda pansy panther papaya paper parade park parrot parsley parsnip pasta path patio pavilion peach
peacock peanut pear pebble pelican pencil penguin pepper petal petunia pheasant piano picnic picture pie
pillow pine pineapple pinecone pizza planet plaza plum pocket pond popcorn poppy porch porcupine poster
potato prairie pretzel primrose prism puddle puffin pullover pumpkin puppet puzzle pyramid quail quartz quill
quilt quince quiver rabbit raccoon radio radish raft railway rainbow raisin raspberry raven reef reindeer
rhino rhubarb rhyme ribbon ridge ring river robin robot rocket rope rose rosemary rowboat ruler saddle sage
sail sailor salad salmon sandal sandcastle satchel saturn saxophone scarf scooter scout sculpture seagull
seal seed shamrock shell ship shirt shoe shore shovel shrub silk singer skate sky sled slipper sloth snail
snow snowflake snowman sock sofa song soup spaniel spark sparrow sphere spinach spiral spoon spruce squirrel
stadium staircase star starfish station statue stone stork story straw stream submarine sugar summit sun
sundial sunflower sunrise sunset surf swan sweater swing sycamore table tablet tandem tapestry tea teacup
teapot temple tennis tent terrace thimble thistle ticket tiger tile toast toffee tomato toolbox torch
tortoise toucan towel tower town toy tractor trail train tram treasure treehouse tricycle truck trumpet tuba
tulip tunnel turnip turtle twig ukulele umbrella unicorn valley vase veranda vest village vine viola violin
volcano waffle wagon wallaby walnut wardrobe watch waterfall watermelon wave wheat wheel whisker whistle
willow windmill window wing wombat woodpecker wool workshop wreath wren xylophone yacht yak yarn zebra
zeppelin zinnia
"""
QUALITIES = tuple(_QUALITIES.split())
THINGS = tuple(_THINGS.split())
