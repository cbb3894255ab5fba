"""What is said to everybody who is about to listen, in one line each."""

HEARING = (
    "Your hearing: start quiet and take breaks. 80 dB(A) for 40 hours a week is the most that an adult’s ears should "
    "get, and every 3 dB more halves the time (WHO and ITU, Recommendation ITU-T H.870, 2022)."
)
SHARING = (
    "Other people’s records: clips of them are for your own listening, unless their licence and the law where you live "
    "allow more."
)
