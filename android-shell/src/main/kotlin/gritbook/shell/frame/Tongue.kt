package gritbook.shell.frame

import android.content.Context
import gritbook.core.Words
import gritbook.core.spanishError

/** Which of the book's two languages the phone speaks now. */
fun Context.spanish(): Boolean = resources.configuration.locales[0].language == "es"

/** The book's words in the phone's language. */
fun Context.say(words: Words): String = if (spanish()) words.es else words.en

/** The same trouble in the phone's language, as far as the book has words for it. */
fun Context.say(trouble: Trouble): Trouble {
    val words = (if (spanish()) spanishError(trouble.code) else null) ?: return trouble
    return trouble.copy(reason = words.reason, advice = words.advice)
}

/** With a capital, as it stands alone on a key. */
fun String.capital(): String = replaceFirstChar { it.uppercase() }
