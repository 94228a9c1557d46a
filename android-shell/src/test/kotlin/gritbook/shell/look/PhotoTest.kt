package gritbook.shell.look

import android.graphics.Bitmap
import android.graphics.Canvas
import android.graphics.Color
import android.graphics.Paint
import android.graphics.RectF
import android.os.Parcelable
import android.util.SparseArray
import android.view.KeyEvent
import android.view.MotionEvent
import android.view.View
import gritbook.core.DebrisReading
import gritbook.core.ReadingOptions
import gritbook.shell.R
import gritbook.shell.carry.Pictures
import gritbook.shell.look.photo.GrainMark
import gritbook.shell.look.photo.OverlayPhotoView
import gritbook.shell.look.photo.PhotoPane
import gritbook.shell.look.photo.PhotoPlace
import gritbook.shell.look.photo.RulerPhotoView
import gritbook.shell.look.photo.ShownPhoto
import org.junit.Assert.assertEquals
import org.junit.Assert.assertFalse
import org.junit.Assert.assertNull
import org.junit.Assert.assertTrue
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.GraphicsMode
import java.io.File

@RunWith(RobolectricTestRunner::class)
@GraphicsMode(GraphicsMode.Mode.NATIVE)
class PhotoTest {
    /** A card with two dark discs, as a sampled photo of 4000 by 3000 px. */
    private fun discs(): ShownPhoto {
        val bitmap = Bitmap.createBitmap(1000, 750, Bitmap.Config.ARGB_8888)
        val canvas = Canvas(bitmap)
        canvas.drawColor(Color.rgb(230, 228, 220))
        val dark = Paint().apply { color = Color.rgb(70, 60, 50) }
        canvas.drawCircle(250f, 250f, 50f, dark)
        canvas.drawCircle(700f, 500f, 25f, dark)
        return ShownPhoto(bitmap, 4000, 3000)
    }

    private fun PhotoPane.show(photo: ShownPhoto, around: RectF? = null) = show(photo.bitmap, photo.widthPx, photo.heightPx, around)

    private fun ring(x: Float, y: Float, radius: Float, words: String) = GrainMark(
        FloatArray(40) { val angle = Math.PI * (it / 2) / 10; if (it % 2 == 0) x + radius * Math.cos(angle).toFloat() else y + radius * Math.sin(angle).toFloat() },
        words,
    )

    private fun overlay() = OverlayPhotoView(phone()).apply {
        id = R.id.seen
        show(discs())
        grains = listOf(ring(1000f, 1000f, 200f, "4.0 mm"), ring(2800f, 2000f, 100f, "2.0 mm"), ring(1000f, 1000f, 60f, "1.2 mm"))
        layOut(this, 360, 270)
    }

    private fun tap(view: View, x: Float, y: Float) = listOf(MotionEvent.ACTION_DOWN, MotionEvent.ACTION_UP).forEachIndexed { at, action ->
        val event = MotionEvent.obtain(0, 20L * at, action, x, y, 0)
        view.dispatchTouchEvent(event)
        event.recycle()
    }

    @Test
    fun zoom_around_a_point_then_that_point_stays_and_the_photo_never_leaves_the_view() {
        val place = PhotoPlace()
        place.sizes(720f, 540f, 4000f, 3000f)
        assertEquals(0.18f, place.scale, 1e-6f)
        val x = place.toPhotoX(500f)
        val y = place.toPhotoY(200f)
        place.zoom(3f, 500f, 200f)
        assertEquals(500f, place.toViewX(x), 0.01f)
        assertEquals(200f, place.toViewY(y), 0.01f)
        place.pan(1e6f, -1e6f)
        assertEquals(0f, place.left, 0f)
        assertEquals(540f, place.toViewY(3000f), 0.01f)
        place.zoom(1e6f, 0f, 0f)
        assertEquals(8f, place.scale, 0f)
        place.zoom(1e-6f, 10f, 10f)
        assertTrue(place.isWhole)
    }

    @Test
    fun phone_is_turned_then_the_middle_of_what_was_seen_stays_in_the_middle() {
        val place = PhotoPlace()
        place.sizes(720f, 540f, 4000f, 3000f)
        place.look(2000f, 1500f, 1f)
        place.sizes(1280f, 400f, 4000f, 3000f)
        assertEquals(640f, place.toViewX(2000f), 0.5f)
        assertEquals(200f, place.toViewY(1500f), 0.5f)
        assertEquals(1f, place.scale, 0f)
    }

    @Test
    fun tap_on_a_grain_then_its_size_and_of_two_nested_ones_the_smaller() {
        val view = overlay()
        assertEquals("Photo with 3 outlined grains", view.contentDescription)
        tap(view, view.place.toViewX(2830f), view.place.toViewY(1980f))
        assertEquals(1, view.chosen)
        assertEquals("Photo with 3 outlined grains. 2.0 mm", view.contentDescription)
        assertEquals(2, view.grainAt(view.place.toViewX(1010f), view.place.toViewY(1000f)))
        assertEquals(0, view.grainAt(view.place.toViewX(1150f), view.place.toViewY(1000f)))
        assertNull(view.grainAt(view.place.toViewX(3900f), view.place.toViewY(100f)))
    }

    @Test
    fun outlines_then_they_lie_on_the_edges_of_the_discs_at_any_scale() {
        val view = overlay()
        view.grains = view.grains.take(2)
        val violet = Look(view.context).violet
        for (scale in listOf(view.place.wholeScale, 0.6f)) {
            view.place.look(1000f, 1000f, scale)
            val picture = draw(view)
            val x = view.place.toViewX(1000f - 200f).toInt()
            val y = view.place.toViewY(1000f).toInt()
            val near = (-3..3).any { picture.getPixel((x + it).coerceIn(0, picture.width - 1), y) == violet }
            assertTrue("no outline near $x, $y at scale $scale", near)
            assertEquals(Color.rgb(70, 60, 50), picture.getPixel(view.place.toViewX(1000f).toInt(), y))
        }
        keep(draw(view.apply { choose(0) }), "overlay-made")
    }

    @Test
    fun keys_then_grain_after_grain_closer_and_whole_again() {
        val view = overlay()
        view.dispatchKeyEvent(KeyEvent(KeyEvent.ACTION_DOWN, KeyEvent.KEYCODE_ENTER))
        assertEquals(0, view.chosen)
        assertFalse(view.place.isWhole)
        repeat(3) { view.dispatchKeyEvent(KeyEvent(KeyEvent.ACTION_DOWN, KeyEvent.KEYCODE_ENTER)) }
        assertEquals(0, view.chosen)
        view.dispatchKeyEvent(KeyEvent(KeyEvent.ACTION_DOWN, KeyEvent.KEYCODE_MINUS))
        assertTrue(view.place.isWhole)
        assertTrue(view.performAccessibilityAction(R.id.photo_next_grain, null))
        assertEquals(1, view.chosen)
    }

    @Test
    fun two_fingers_spread_then_closer() {
        val view = overlay()
        val before = view.place.scale
        fun both(action: Int, apart: Float, time: Long) {
            val properties = Array(2) { MotionEvent.PointerProperties().apply { id = it; toolType = MotionEvent.TOOL_TYPE_FINGER } }
            val points = Array(2) { MotionEvent.PointerCoords().apply { x = 360f + if (it == 0) -apart else apart; y = 270f; pressure = 1f; size = 1f } }
            val event = MotionEvent.obtain(0, time, action, 2, properties, points, 0, 0, 1f, 1f, 0, 0, 0, 0)
            view.dispatchTouchEvent(event)
            event.recycle()
        }
        val down = MotionEvent.obtain(0, 0, MotionEvent.ACTION_DOWN, 160f, 270f, 0)
        view.dispatchTouchEvent(down)
        both(MotionEvent.ACTION_POINTER_DOWN or (1 shl MotionEvent.ACTION_POINTER_INDEX_SHIFT), 100f, 10)
        for (step in 1..10) both(MotionEvent.ACTION_MOVE, 100f + 20f * step, 10L + 20 * step)
        assertTrue("${view.place.scale} after $before", view.place.scale > before * 1.5f)
    }

    @Test
    fun another_photo_then_seen_anew_and_not_where_the_last_one_was() {
        val view = overlay()
        view.place.look(2800f, 2000f, 2f)
        view.show(discs())
        assertTrue(view.place.isWhole)
        view.show(discs(), RectF(800f, 800f, 1200f, 1200f))
        assertEquals(view.height / 400f, view.place.scale, 0.01f)
    }

    @Test
    fun process_ends_then_the_same_place_is_seen() {
        val view = overlay()
        view.place.look(2800f, 2000f, 0.9f)
        val kept = SparseArray<Parcelable>()
        view.saveHierarchyState(kept)
        val again = OverlayPhotoView(view.context).apply { id = R.id.seen }
        again.restoreHierarchyState(kept)
        layOut(again, 360, 270)
        again.show(discs())
        assertEquals(0.9f, again.place.scale, 1e-4f)
        assertEquals(again.width / 2f, again.place.toViewX(2800f), 1f)
    }

    private fun ruler() = RulerPhotoView(phone()).apply {
        id = R.id.seen
        show(discs())
        layOut(this, 360, 270)
    }

    @Test
    fun thumb_beside_a_cross_moves_it_by_as_much_as_the_thumb_went() {
        val view = ruler()
        var heard: FloatArray? = null
        view.onPoints = { heard = it }
        val before = view.pointsPx.copyOf()
        val x = view.place.toViewX(before[2]) + 40f
        val y = view.place.toViewY(before[3]) + 30f
        for ((action, dx) in listOf(MotionEvent.ACTION_DOWN to 0f, MotionEvent.ACTION_MOVE to 18f, MotionEvent.ACTION_MOVE to 36f)) {
            view.dispatchTouchEvent(MotionEvent.obtain(0, 10, action, x + dx, y, 0))
        }
        keep(draw(view), "ruler-made")
        view.dispatchTouchEvent(MotionEvent.obtain(0, 30, MotionEvent.ACTION_UP, x + 36f, y, 0))
        assertEquals(before[2] + 36f / view.place.scale, heard!![2], 0.01f)
        assertEquals(before[3], heard!![3], 0.01f)
        assertEquals(before[0], heard!![0], 0f)
        assertEquals(1, view.active)
    }

    @Test
    fun cross_pushed_over_the_edge_then_it_stays_on_the_photo() {
        val view = ruler()
        view.put(floatArrayOf(10f, 10f, 3990f, 2990f))
        view.requestFocus()
        repeat(5) { view.dispatchKeyEvent(KeyEvent(KeyEvent.ACTION_DOWN, KeyEvent.KEYCODE_DPAD_LEFT)) }
        assertEquals(0f, view.pointsPx[0], 0f)
        view.dispatchKeyEvent(KeyEvent(KeyEvent.ACTION_DOWN, KeyEvent.KEYCODE_ENTER))
        repeat(5) { view.performAccessibilityAction(R.id.ruler_down, null) }
        assertEquals(3000f, view.pointsPx[3], 0f)
    }

    @Test
    fun thumb_far_from_both_crosses_moves_the_photo_not_a_cross() {
        val view = ruler()
        assertNull(view.crossAt(view.width / 2f, 10f))
        assertEquals(0, view.crossAt(view.place.toViewX(view.pointsPx[0]), view.place.toViewY(view.pointsPx[1]) + 20f))
    }

    @Test
    fun photographed_card_read_by_the_core_then_outlines_lie_on_its_grains() {
        val context = phone()
        val file = File(System.getProperty("gritbook.root"), "fixtures/photos/demo_some_sand.jpg")
        assertTrue("${file.absolutePath} is missing", file.exists())
        val shown = Pictures.read(file, 2048)
        DebrisReading.ofPhoto(file.path, ReadingOptions(sampleMl = null, outlines = true, hand = null)).use { reading ->
            val facts = reading.facts()
            assertEquals(facts.photo.widthPx.toInt() to facts.photo.heightPx.toInt(), shown.fullWidth to shown.fullHeight)
            val view = OverlayPhotoView(context)
            val corners = facts.scale.windowCornersPx
            view.show(
                shown.bitmap, shown.fullWidth, shown.fullHeight,
                RectF(corners.minOf { it.xPx }.toFloat(), corners.minOf { it.yPx }.toFloat(), corners.maxOf { it.xPx }.toFloat(), corners.maxOf { it.yPx }.toFloat()),
            )
            view.grains = reading.outlinesPx().mapIndexed { at, outline ->
                GrainMark(FloatArray(outline.size) { outline[it].toFloat() }, context.getString(R.string.photo_grain, "%.1f".format(facts.grains[at].ecdMm)))
            }
            assertEquals(facts.grains.size, view.grains.size)
            layOut(view, 360, 360)
            assertFalse("the window fills the view at first", view.place.isWhole)
            assertTrue(corners.all { view.place.toViewX(it.xPx.toFloat()) in -1f..view.width + 1f && view.place.toViewY(it.yPx.toFloat()) in -1f..view.height + 1f })
            keep(draw(view), "overlay-card-whole")
            val largest = facts.grains.indices.maxBy { facts.grains[it].ecdMm }
            view.choose(largest)
            val grain = view.grains[largest]
            view.place.look(grain.middleX, grain.middleY, view.place.wholeScale * 6)
            keep(draw(view), "overlay-card-close")
            // Grains are darker than the card: inside its outline the photo is darker than on a circle well outside.
            val unit = shown.bitmap.width.toFloat() / shown.fullWidth
            fun light(x: Float, y: Float) = shown.bitmap.getPixel((x * unit).toInt().coerceIn(0, shown.bitmap.width - 1), (y * unit).toInt().coerceIn(0, shown.bitmap.height - 1)).let { Color.green(it) }
            val radius = Math.sqrt(grain.areaPx / Math.PI).toFloat()
            val around = (0 until 16).map { light(grain.middleX + 2.2f * radius * Math.cos(it * Math.PI / 8).toFloat(), grain.middleY + 2.2f * radius * Math.sin(it * Math.PI / 8).toFloat()) }.sorted()[8]
            assertTrue("inside ${light(grain.middleX, grain.middleY)}, around $around", light(grain.middleX, grain.middleY) < around - 15)
        }
    }
}
