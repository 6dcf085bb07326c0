"""What is amiss is told from what is usual, by the season's own frames."""

import json
from datetime import timedelta

import cv2
import numpy as np
import pytest
from skimage.measure import blur_effect as reference

from lapsekit.vision.figures import Figures, blur_effect, figures_of, reduced
from lapsekit.vision.screening import Limits, Memory, Seen, judge, judge_on
from tests.scenes import as_grey, bench_picture
from tests.spoiling import CLOTHS, bedewed, blurred, exposed, glared, visited
from tests.vision.drawn_bench import HEIGHT, WIDTH, frame, light_of, moment, photographed

COUNT, AT, SINCE = 32, 21, 8
GOOD = bench_picture([(80, 120, 40), (240, 120, 40)])


@pytest.fixture(scope="module")
def season():
    return [Seen(moment(n), figures_of(frame(n))) for n in range(COUNT)]


def verdict_on(season, picture, at=AT, until=COUNT):
    """The verdict on `picture` in place of the season's frame `at`."""
    changed = [*season[:at], Seen(season[at].at, figures_of(picture)), *season[at + 1 : until]]
    return judge(changed[SINCE:])[at - SINCE]


def test_sun_cloud_moving_shadows_and_growth_leave_nothing_out(season):
    assert [v.told for v in judge(season) if v.reason] == []


def test_all_but_the_first_frames_are_watched_for_visitors(season):
    watched = [v.watched for v in judge(season)]
    assert all(watched)
    assert [v.watched for v in judge(season[:3])] == [False] * 3


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (lambda p, rng: exposed(p, 0.004), "dark"),
        (lambda p, rng: exposed(p, 0.08), "dark"),
        (lambda p, rng: exposed(p, 9), "blown out"),
        (lambda p, rng: blurred(p, 1.5), "blurred"),
        (lambda p, rng: blurred(p, 6), "blurred"),
        (lambda p, rng: bedewed(p, rng, 1), "hazed"),
        (lambda p, rng: glared(p, rng, 0.12), "glare"),
    ],
)
def test_a_spoilt_frame_is_left_out_with_its_reason(season, spoil, reason):
    found = verdict_on(season, spoil(frame(AT), np.random.default_rng(2)))
    assert found.reason == reason
    assert found.told.startswith(f"{reason}: ")


def test_a_picture_without_colours_is_grey_not_obstructed_and_not_blown_out(season):
    for picture in (frame(AT), exposed(frame(AT), 3)):
        assert verdict_on(season, as_grey(picture)).reason == "grey"


def test_the_palest_colour_is_not_grey():
    """A photograph of fog keeps more than a tenth of its colours."""
    for kept, grey in ((0.0, True), (0.15, False)):
        pale = cv2.addWeighted(GOOD, kept, as_grey(GOOD), 1 - kept, 0)
        reason = judge([Seen(moment(0), figures_of(pale))])[0].reason
        assert (reason == "grey") is grey


@pytest.mark.parametrize("until", [AT + 1, COUNT])
@pytest.mark.parametrize("cloth", sorted(CLOTHS))
def test_an_arm_of_any_colour_is_seen_at_once_and_later(season, cloth, until):
    rng = np.random.default_rng(4)
    picture, share = visited(frame(AT), rng, "hand", cloth, 0.6)
    assert share > 0.015
    assert verdict_on(season, picture, until=until).reason == "obstructed"


def test_a_hat_over_most_of_the_picture_is_seen(season):
    picture = frame(AT).copy()
    straw = np.random.default_rng(1).normal((190, 165, 115), 9, (HEIGHT, WIDTH, 3))
    inside = np.hypot(*(np.mgrid[:HEIGHT, :WIDTH] - np.array([180, 240])[:, None, None])) < 210
    picture[inside] = np.clip(straw, 0, 255).astype(np.uint8)[inside]
    assert verdict_on(season, picture).reason == "obstructed"


def test_the_reason_says_where_and_against_what(season):
    picture = frame(AT).copy()
    picture[250:, 360:] = (60, 80, 150)
    told = verdict_on(season, picture).told
    assert "in the lower right" in told
    assert "unlike the" in told


def test_a_knock_is_not_a_visitor(season):
    turn = cv2.getRotationMatrix2D((WIDTH / 2, HEIGHT / 2), 0.9, 1) + np.float32(
        [[0, 0, 9], [0, 0, -5]]
    )
    knocked = cv2.warpAffine(frame(AT), turn, (WIDTH, HEIGHT), borderMode=cv2.BORDER_REFLECT)
    assert verdict_on(season, knocked, until=AT + 1).reason is None


def test_a_changed_bench_is_believed_once_two_later_frames_show_it(season):
    potted_on = [Seen(s.at, s.figures) for s in season[:AT]]
    for number in range(AT, AT + 4):
        picture = frame(number)
        cv2.circle(picture, (240, 250), 60, (40, 60, 170), -1)  # a larger, blue pot
        potted_on.append(Seen(moment(number), figures_of(picture)))
    assert judge(potted_on[: AT + 1])[AT].reason == "obstructed"
    assert judge(potted_on)[AT].reason is None


def test_a_frame_that_passed_is_not_called_obstructed_by_later_ones(season):
    at_once = [judge(season[: n + 1])[n].reason for n in range(16, 26)]
    assert at_once == [v.reason for v in judge(season)[16:26]] == [None] * 10


@pytest.mark.parametrize("quality", [90, 95, 100])
def test_the_same_picture_encoded_again_is_frozen(season, quality):
    data = cv2.imencode(".jpg", frame(AT - 1)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    again = cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1]
    assert verdict_on(season, np.ascontiguousarray(again)).reason == "frozen"


def test_another_exposure_of_the_same_scene_in_the_same_light_is_not_frozen():
    steady = [photographed(light_of(0), seed) for seed in range(12)]
    seen = [Seen(moment(n), figures_of(p)) for n, p in enumerate(steady)]
    assert [v.reason for v in judge(seen)] == [None] * 12
    seen.append(Seen(moment(12), seen[11].figures))
    assert judge(seen)[12].reason == "frozen"


def test_a_dim_greenhouse_and_its_evenings_are_not_dark():
    """All frames half as bright, those of 17:00 a twenty-fifth."""
    dim = [photographed(light_of(n) / (25 if n % 4 == 3 else 2), n) for n in range(COUNT)]
    seen = [Seen(moment(n), figures_of(p)) for n, p in enumerate(dim)]
    dark = [n for n, v in enumerate(judge(seen)) if v.reason == "dark"]
    assert dark == []
    noon = Seen(seen[AT].at, seen[23].figures)  # an evening's darkness at 11:00
    assert judge([*seen[:AT], noon, *seen[AT + 1 :]])[AT].reason == "dark"


def test_a_soft_lens_is_not_blurred_but_softer_than_itself_is():
    soft = [blurred(frame(n), 1.5) for n in range(20)]
    seen = [Seen(moment(n), figures_of(p)) for n, p in enumerate(soft)]
    assert [v.reason for v in judge(seen)] == [None] * 20
    worse = Seen(moment(20), figures_of(blurred(frame(20), 3)))
    assert judge([*seen, worse])[20].reason == "blurred"


def test_the_first_frame_is_judged_by_floors():
    first = moment(0)
    for spoilt, reason in [
        (np.zeros_like(GOOD), "dark"),
        (np.full_like(GOOD, 255), "blown out"),
        (blurred(GOOD, 8), "hazed"),
        (GOOD, None),
    ]:
        assert judge([Seen(first, figures_of(spoilt))])[0].reason == reason


def test_no_frames_no_verdicts():
    assert judge([]) == []


def test_pictures_that_have_nothing_in_common_are_not_called_obstructed():
    rng = np.random.default_rng(8)
    pictures = []
    for _ in range(16):
        coarse = rng.uniform(40, 215, (18, 24, 3)).astype(np.float32)
        texture = rng.normal(0, 12, (HEIGHT, WIDTH, 1))
        big = cv2.resize(coarse, (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)
        pictures.append(np.clip(big + texture, 0, 255).astype(np.uint8))
    seen = [Seen(moment(n), figures_of(p)) for n, p in enumerate(pictures)]
    assert "obstructed" not in {v.reason for v in judge(seen)}


def test_frames_weeks_apart_are_not_watched(season):
    apart = [Seen(moment(0) + timedelta(days=14 * n), s.figures) for n, s in enumerate(season[:8])]
    assert {v.watched for v in judge(apart)} == {False}


def test_limits_set_by_hand_stand_instead_of_what_is_learned(season):
    assert {v.reason for v in judge(season, Limits(dark_below=0.99))} == {"dark"}
    assert {v.reason for v in judge(season, Limits(blurred_above=0.01))} == {"blurred"}
    burnt = [*season[:AT], Seen(season[AT].at, figures_of(exposed(frame(AT), 9)))]
    assert judge(burnt, Limits(blown_above=1))[AT].reason != "blown out"


def test_a_lasting_change_becomes_the_new_usual(season):
    """A whitewashed roof: three stops less light from one day on."""
    later = [Seen(moment(n), figures_of(photographed(light_of(n) / 10, n))) for n in range(16, 48)]
    reasons = [v.reason for v in judge([*season[:16], *later])[16:]]
    assert reasons[0] == "dark"
    assert "dark" not in reasons[-8:]


def test_going_on_from_what_is_settled_comes_to_the_verdicts_of_the_whole(season):
    """Day by day, with somebody, darkness and a repeat among the frames, through JSON each time."""
    rng = np.random.default_rng(4)
    frames = list(season)
    somebody, _ = visited(frame(AT), rng, "arm", "denim", 0.6)
    for number, picture in [(AT, somebody), (26, exposed(frame(26), 0.01)), (29, frame(28))]:
        frames[number] = Seen(frames[number].at, figures_of(picture))
    found, memory, looked_at = [], None, 0
    for until in range(4, COUNT + 1, 4):
        skipped = memory.settled - memory.needs if memory else 0
        judged = judge_on(frames[skipped:until], None, memory)
        found[until - len(judged.verdicts) :] = judged.verdicts
        looked_at += len(judged.verdicts)
        plain = judged.memory and json.loads(json.dumps(judged.memory.as_plain()))
        memory = plain and Memory.from_plain(plain)
        assert found == judge(frames[:until])
    assert {v.reason for v in found} == {None, "obstructed", "dark", "frozen"}
    assert judged.memory.settled > 20
    assert judged.memory.needs < 20
    assert looked_at < sum(range(4, COUNT + 1, 4)) * 0.8


def test_figures_survive_json(season):
    figures = season[0].figures
    assert Figures.from_plain(json.loads(json.dumps(figures.as_plain()))) == figures


def test_figures_of_tiny_pictures_are_taken():
    for shape in [(1, 1, 3), (2, 5, 3), (20, 18, 3)]:
        assert figures_of(np.full(shape, 90, np.uint8)).sharpness == 0


@pytest.mark.parametrize("size", [(20000, 1), (1, 20000), (3000, 2), (20000, 30), (10, 20000)])
def test_figures_of_very_thin_pictures_are_taken(size):
    """Halving alone would never make their long side short."""
    picture = np.full((*size, 3), 90, np.uint8)
    assert max(reduced(picture, 192).shape) == 192
    assert figures_of(picture).luminance == pytest.approx(90 / 255, abs=0.01)


def test_more_blur_reads_as_more():
    read = [blur_effect(cv2.GaussianBlur(GOOD[..., 1], (0, 0), s)) for s in (0.5, 1, 2, 4, 8)]
    assert read == sorted(read)
    assert all(0 <= value <= 1 for value in read)


@pytest.mark.parametrize("sigma", [0.6, 1.5, 4.0])
def test_our_blur_effect_agrees_with_the_published_method_in_skimage(sigma):
    luma = cv2.GaussianBlur(GOOD[..., 1], (0, 0), sigma)
    assert blur_effect(luma) == pytest.approx(reference(luma), abs=0.01)
