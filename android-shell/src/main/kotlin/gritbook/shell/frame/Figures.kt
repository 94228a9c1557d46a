package gritbook.shell.frame

import gritbook.core.DecimalMark
import gritbook.core.Quantity
import gritbook.core.UnitSystem
import gritbook.core.figure
import gritbook.core.parseFigure
import gritbook.core.typedFigure
import gritbook.core.unitOf
import java.text.DecimalFormatSymbols
import java.util.Locale

/** Figures as this shop writes them: its units from the settings, the decimal mark from the phone. What they mean is the book's to say. */
class Figures(private val system: UnitSystem) {
    private val mark get() = if (DecimalFormatSymbols.getInstance(Locale.getDefault()).decimalSeparator == ',') DecimalMark.COMMA else DecimalMark.POINT

    fun unit(quantity: Quantity): String = unitOf(quantity, system)

    /** Without its unit. */
    fun bare(quantity: Quantity, kept: Double): String = figure(quantity, kept, system, mark)

    /** With its unit. */
    fun show(quantity: Quantity, kept: Double): String = "${bare(quantity, kept)}\u202F${unit(quantity)}"

    /** To be typed over. */
    fun typed(quantity: Quantity, kept: Double): String = typedFigure(quantity, kept, system, mark)

    /** What was typed, in the book's unit. Throws the book's own refusal. */
    fun parse(quantity: Quantity, text: String): Double = parseFigure(quantity, text, system)

    fun parseOrNull(quantity: Quantity, text: String?): Double? =
        text?.takeIf { it.isNotBlank() }?.let { runCatching { parse(quantity, it) }.getOrNull() }

    /** The book's value of one of the shop's units. */
    fun one(quantity: Quantity): Double = parseFigure(quantity, "1", system)

    /** A bare number, with the phone's decimal mark. */
    fun number(value: Double, digits: Int): String = String.format(Locale.getDefault(), "%.${digits}f", value)

    companion object {
        fun of(settings: Settings): Figures = Figures(settings.system)
    }
}
