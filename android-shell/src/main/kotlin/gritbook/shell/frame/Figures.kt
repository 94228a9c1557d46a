package gritbook.shell.frame

import java.util.Locale

/** Figures as they are typed and shown. */
object Figures {
    /** A typed figure, decimal comma or point; null where it is none. */
    fun parse(text: String): Double? = text.trim().replace(',', '.').toDoubleOrNull()?.takeIf { it.isFinite() }

    fun show(value: Double, digits: Int = 0): String = String.format(Locale.getDefault(), "%.${digits}f", value)
}
