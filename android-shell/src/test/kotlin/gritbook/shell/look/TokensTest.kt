package gritbook.shell.look

import android.content.Context
import android.graphics.Color
import android.widget.LinearLayout
import gritbook.shell.R
import gritbook.shell.frame.chosen
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import org.junit.Assert.assertEquals
import org.junit.Assert.assertTrue
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.GraphicsMode

/** Colours and sizes against the figures that they were chosen for. */
@RunWith(RobolectricTestRunner::class)
@GraphicsMode(GraphicsMode.Mode.NATIVE)
class TokensTest {
    /** Contrast of two colours by the definition of WCAG 2.2, relative luminance. */
    private fun contrast(one: Int, other: Int): Double {
        fun linear(channel: Int) = (channel / 255.0).let { if (it <= 0.04045) it / 12.92 else Math.pow((it + 0.055) / 1.055, 2.4) }
        fun light(colour: Int) = 0.2126 * linear(Color.red(colour)) + 0.7152 * linear(Color.green(colour)) + 0.0722 * linear(Color.blue(colour))
        val (high, low) = listOf(light(one), light(other)).sortedDescending()
        return (high + 0.05) / (low + 0.05)
    }

    @Test
    fun black_on_white_then_21_and_a_colour_on_itself_then_1() {
        assertEquals(21.0, contrast(Color.BLACK, Color.WHITE), 1e-9)
        assertEquals(1.0, contrast(Color.rgb(90, 80, 70), Color.rgb(90, 80, 70)), 1e-9)
    }

    @Test
    fun letters_by_day_and_night_then_at_least_7_to_1_and_ink_12_to_1() {
        for (night in listOf(false, true)) {
            val context = phone(night = night)
            val look = Look(context)
            for (ground in listOf(look.paper, look.ground)) {
                assertTrue("ink night=$night ${contrast(look.ink, ground)}", contrast(look.ink, ground) >= 12)
                assertTrue("pencil night=$night ${contrast(look.pencil, ground)}", contrast(look.pencil, ground) >= 7)
                assertTrue("violet night=$night ${contrast(look.violet, ground)}", contrast(look.violet, ground) >= 7)
            }
            assertTrue(contrast(look.onViolet, look.violet) >= 7)
        }
    }

    @Test
    fun signal_words_then_at_least_7_to_1_on_their_panels() {
        val context = phone()
        for (signal in Signal.entries) {
            val found = contrast(context.getColor(signal.letters), context.getColor(signal.panel))
            assertTrue("$signal $found", found >= 7)
        }
    }

    @Test
    fun night_then_really_other_colours_and_safety_the_same() {
        val day = Look(phone())
        val red = day.context.getColor(R.color.safety_red)
        val (paper, ink) = day.paper to day.ink
        val night = Look(phone(night = true))
        assertTrue(night.paper != paper && night.ink != ink)
        assertEquals(red, night.context.getColor(R.color.safety_red))
    }

    @Test
    fun type_then_four_sizes_that_grow_with_the_phones_setting_and_none_below_15() {
        val sp = { context: Context, id: Int -> context.resources.getDimension(id) / context.resources.displayMetrics.density }
        val sizes = listOf(R.dimen.figure to 40f, R.dimen.title to 24f, R.dimen.text to 18f, R.dimen.note to 15f)
        for ((id, size) in sizes) assertEquals(size, sp(phone(), id), 0.01f)
        // From API 34 on large letters grow less than small ones.
        for ((id, size) in sizes) assertTrue("$size", sp(phone(font = 2f), id) >= size * if (size < 20f) 1.6f else 1.1f)
    }

    @Test
    fun touch_then_16_real_millimetres() {
        val context = phone()
        val metrics = context.resources.displayMetrics
        assertEquals(16f, Look(context).touch / (metrics.xdpi / 25.4f), 0.15f)
        assertEquals(3f, Look(context).touchGap / (metrics.xdpi / 25.4f), 0.15f)
    }

    @Test
    fun views_of_the_kit_then_fit_to_be_shown_in_both_languages_and_sizes() {
        for (language in listOf("en", "es")) for (font in listOf(1f, 2f)) {
            val context = phone(language, font = font)
            val page = kitPage(context)
            layOut(page, 360)
            assertEquals("$language $font", emptyList<String>(), faults(page))
        }
    }

    private fun kitPage(context: Context) = LinearLayout(context).apply {
        val kit = Kit(context)
        val es = context.isSpanish
        orientation = LinearLayout.VERTICAL
        dividerDrawable = android.graphics.drawable.ShapeDrawable().apply { intrinsicHeight = kit.look.steps(4); paint.color = 0 }
        showDividers = LinearLayout.SHOW_DIVIDER_MIDDLE
        val off = context.key(if (es) "Descartar" else "Drop") {}.apply { isEnabled = false }
        listOf(
            kit.figure("9,460", "m³", if (es) "bombeados" else "pumped"),
            kit.reasons(if (es) listOf("Copa A pasa material.", "Arena en la caja: tercera vez seguida.") else listOf("Cup A is passing.", "Sand in the box, the third time in a row.")),
            kit.signed(GritRingView(context).show(3), if (es) "Copa A" else "Cup A", if (es) "pasa material" else "passing"),
            kit.row(OutboxSlipView(context).show(3, 1), kit.strong(if (es) "3 por enviar" else "3 wait")),
            context.keyRow(*(if (es) listOf("Clara", "Gris", "Lodosa", "Aceitosa") else listOf("Clear", "Grey", "Muddy", "Oily")).mapIndexed { at, word -> context.key(word) {}.apply { chosen(at == 2) } }.toTypedArray()),
            context.key(if (es) "Guardar" else "Save", main = true) {},
            kit.quietButton(if (es) "Omitir" else "Skip") {},
            off,
            CautionPanel(kit, Signal.DANGER, if (es) "Nunca meta las manos en la caja mientras algo pueda moverse." else "Hands never in the box while anything can move."),
            CautionPanel(kit, Signal.WARNING, if (es) "La presión guardada mueve el pistón sin motor." else "Stored pressure moves the piston with the engine off."),
            CautionPanel(kit, Signal.CAUTION, if (es) "El acople cae: sosténgalo desde abajo." else "The coupler falls: hold it from below."),
        ).forEach { addView(it, LinearLayout.LayoutParams.MATCH_PARENT, LinearLayout.LayoutParams.WRAP_CONTENT) }
        val margin = kit.look.steps(4)
        setPadding(margin, margin, margin, margin)
    }

    @Test
    fun pictures_of_the_kit_for_judging() {
        for ((language, night, font) in listOf(Triple("en", false, 1f), Triple("es", true, 1f), Triple("es", false, 2f))) {
            val context = phone(language, night = night, font = font)
            val page = layOut(kitPage(context), 360)
            val picture = draw(page)
            assertTrue(inked(picture) > 0.05)
            keep(picture, "kit-${context.variant()}")
        }
    }

    @Test
    fun disabled_button_then_dashed_and_not_merely_paler() {
        val context = phone()
        val one = draw(layOut(context.key("Save", main = true) {}, 200, 110))
        val other = draw(layOut(context.key("Save", main = true) {}.apply { isEnabled = false }, 200, 110))
        assertEquals(Look(context).violet, one.getPixel(one.width / 4, one.height / 4))
        assertEquals(Look(context).paper, other.getPixel(other.width / 4, other.height / 4))
        // Along the lower edge the line comes and goes.
        val edge = (20 until other.width - 20).map { other.getPixel(it, other.height - 2) == Look(context).paper }
        assertTrue(edge.any { it } && edge.any { !it })
    }

    @Test
    fun keys_in_a_row_then_as_many_side_by_side_as_their_longest_words_fit() {
        fun columns(context: Context, vararg words: String): Int {
            val row = context.keyRow(*words.map { context.key(it) {} }.toTypedArray())
            layOut(row, 344)
            return (0 until row.childCount).map { row.getChildAt(it) }.count { it.top == row.getChildAt(0).top }
        }
        assertEquals(3, columns(phone(), "Add a pump", "Outbox", "Settings"))
        assertEquals(2, columns(phone(), "Add a pump", "Change-out", "Settings"))
        assertEquals(2, columns(phone(), "a", "b", "c", "d"))
        assertEquals(1, columns(phone(font = 2f), "Acknowledgement", "Settings"))
    }

    @Test
    fun word_too_long_for_its_line_then_written_smaller_and_back_again_when_there_is_room() {
        val context = phone()
        val text = Kit(context).strong("Acknowledgement")
        layOut(text, 120)
        assertTrue(text.textSize < Look(context).textTitle)
        assertEquals(1, text.lineCount)
        layOut(text, 300)
        assertEquals(Look(context).textTitle, text.textSize, 0.01f)
    }
}
