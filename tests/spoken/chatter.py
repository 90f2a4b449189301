"""What people in a shop say that is none of the job's business. Invented here.

Several hold numbers that are no readings. No sentence has a word that stops a job, since those
count wherever they stand.
"""

BABBLE = (
    "so I told her we would be up at the lake by Friday if the weather holds",
    "the parts truck comes around ten most days, unless the bridge is closed",
    "he painted the whole garage himself and it took him nearly a month",
    "my brother sold that old pickup to a fellow who collects them",
    "they moved the coffee machine again and now nobody can find the cups",
    "you should have seen the line at the bakery on the corner this morning",
    "she wants to plant tomatoes along the fence where the shed used to be",
    "if the radio plays that song one more time I am going home early",
    "the kids have a school play on Thursday and I promised to build the scenery",
    "somebody left the big door open all night and there is a cat in the office",
    "we drove through the mountains last summer and the brakes smelled awful",
    "that customer called again about the blue one, tell him maybe next week",
)
"""Under the words, as a noise."""

SHOP = {
    "tuning": (
        "did you see the game last night",
        "hand me that rag, would you",
        "I'll be there in five minutes",
        "who took my flashlight",
        "lunch is at twelve thirty today",
        "that bolt is rusted in solid",
        "can somebody move the blue trailer",
        "he owes me twenty dollars since March",
        "the forklift is due for an oil change",
        "bay four is free if you need it",
        "my knees are killing me on this floor",
        "put the kettle on while you're up there",
        "we ordered three of those last month",
        "the phone is for you, it's the dispatcher",
        "is it supposed to rain this weekend",
        "watch your head on that crossmember",
        "they want it finished by a quarter to six",
        "throw me the half inch socket",
        "I can't find the other glove",
        "turn that music down a little",
    ),
    "test": (
        "what did the boss say about overtime",
        "pass me the long pry bar over there",
        "give me ten minutes and I'm with you",
        "where did the creeper go",
        "the delivery guy is at the front gate",
        "it was thirty two degrees when I got up",
        "somebody parked in front of the wash bay",
        "the invoice came to nine hundred and sixteen dollars",
        "have you got the keys for the service truck",
        "my daughter turned seven on Sunday",
        "there is a puddle under the compressor",
        "number eleven is waiting for tires",
        "let's get pizza when this one is finished",
        "I need two more of those hose clamps",
        "that's the second one this week",
        "the light over bay six is flickering",
        "they play at eight on channel four",
        "grab a five eighths wrench from my box",
        "this floor dry is no good at all",
        "wipe your boots before you go in the office",
    ),
}
"""Called across the bay, not meant for the program."""

RADIO = {
    "tuning": (
        "and that was the number one song of nineteen eighty five, stay with us",
        "traffic is slow on route nine this morning, about fifteen minutes of delay",
        "the high today will be seventy two with a light wind from the west",
        "call within the next half hour and you get a second pair for free",
        "in local news the council voted six to three for the new library",
        "coming up after the break, our gardening expert answers your questions",
        "the score at the half is twenty one to fourteen for the visitors",
        "save a quarter on all furniture, this weekend only",
    ),
    "test": (
        "good afternoon, it's three o'clock and here are the headlines",
        "two lanes are closed on the ring road after a truck lost its load of gravel",
        "tonight we expect one to two inches of snow above the valley",
        "and the winner of the five thousand dollar jackpot is on the line right now",
        "our next guest has written eleven books about bees",
        "the home team leads by seven in the fourth quarter, what a game",
        "buy one get one at half price, at your neighborhood hardware store",
        "that takes us to the weather, cloudy with sixty percent chance of rain",
    ),
}
"""From the loudspeaker over the bench."""
