"""A view that turns under the finger, of a glTF scene."""

from typing import Any

from nicegui import ui

from plumbstone.cli.page.widgets import element
from plumbstone.cli.wording.page import LATE_VIEW, LOST_VIEW

SHEET = "#e9eeec"  # behind it, by day and by night: glass and water are drawn for it
TOLD = {"lost": (LOST_VIEW, "alert"), "late": (LATE_VIEW, "status")}
LATE = 4000  # [ms]: from here on it is said that nothing has come yet
# The loop of a scene draws on for ever, even when it was taken off the page; let it draw what has
# changed, where it is seen.
CALM = """() => {
  import("nicegui-scene").then(({ THREE: { DefaultLoadingManager } }) => {
    const late = setTimeout(() => emit("late"), LATE);
    let lost = false;
    const tell = (how) => { clearTimeout(late); emit(how); };
    DefaultLoadingManager.onError = () => { lost = true; tell("lost"); };
    DefaultLoadingManager.onLoad = () => lost || tell("here");  // comes after an error too
  });
  const { renderer } = getElement(ID), draw = renderer.render.bind(renderer);
  const told = ({ elements }) => elements.map((number) => number.toFixed(4));  // a tenth of a mm
  let drawn = "";
  renderer.render = (scene, camera) => {
    const canvas = renderer.domElement, state = [canvas.width, canvas.height];
    if (!canvas.isConnected) return;
    camera.updateMatrixWorld();
    scene.updateMatrixWorld();
    state.push(told(camera.matrixWorld), told(camera.projectionMatrix));
    scene.traverse(({ visible, matrixWorld, material }) =>
      state.push(visible, told(matrixWorld), material?.color?.getHex(), material?.opacity));
    if (state.join() === drawn) return;
    drawn = state.join();
    draw(scene, camera);
  };
}"""


def turning_view(
    address: str, size: tuple[float, float, float], label: str, *, flat: bool = False
) -> ui.scene:
    """Make a view of a scene.

    It shows the glTF file at an address, y up [m], of a length, depth and height [m] from its own
    corner: from above its corner or, where it is flat, from the front, as one looks at a tank. The
    label is read aloud.
    """
    camera = ui.scene.perspective_camera(fov=40, near=0.01, far=100)
    scene = ui.scene(grid=False, fps=20, camera=camera, background_color=SHEET).classes("turning")
    scene.props["aria-label"], scene.props["role"] = label, "img"
    place = element("div")

    def tell(event: Any) -> None:
        place.clear()
        with place:
            if event.args in TOLD:
                words, role = TOLD[event.args]
                element("p", "fault", words, role=role)

    script = CALM.replace("ID", str(scene.id)).replace("LATE", str(LATE))
    scene.on("init", tell, js_handler=script)
    with scene:
        scene.gltf(address).rotate(1.5708, 0, 0)
    x, y, z = (side / 2 for side in size)
    if flat:
        away = 2.4 * max(x, 1.4 * z) + y
        scene.move_camera(x, y - 0.92 * away, z + 0.4 * away, x, y, 0.8 * z, duration=0)
    else:
        away = 4.0 * max(x, y, z)
        scene.move_camera(
            x - 0.5 * away, y - 0.75 * away, z + 0.5 * away, x, y, 0.8 * z, duration=0
        )
    return scene
