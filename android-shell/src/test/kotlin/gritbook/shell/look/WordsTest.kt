package gritbook.shell.look

import org.junit.Assert.assertEquals
import org.junit.Assert.assertTrue
import org.junit.Test
import org.w3c.dom.Element
import java.io.File
import javax.xml.parsers.DocumentBuilderFactory

/** The words themselves, read from the resource files. */
class WordsTest {
    private val resources = File(System.getProperty("gritbook.root"), "android-shell/src/main/res")

    /** Name (and quantity of a plural) to words, with the file that they stand in. */
    private fun words(folder: String): Map<String, Pair<String, String>> = File(resources, folder).listFiles { file -> file.name.startsWith("strings") }!!
        .flatMap { file ->
            val root = DocumentBuilderFactory.newInstance().newDocumentBuilder().parse(file).documentElement
            val strings = elements(root, "string").map { it.getAttribute("name") to (it.textContent to file.name) }
            val plurals = elements(root, "plurals").flatMap { plural ->
                elements(plural, "item").map { "${plural.getAttribute("name")}#${it.getAttribute("quantity")}" to (it.textContent to file.name) }
            }
            strings + plurals
        }
        .also { all -> assertEquals("a name stands twice in $folder", emptyMap<String, Int>(), all.groupingBy { it.first }.eachCount().filter { it.value > 1 }) }
        .toMap()

    private fun elements(parent: Element, name: String): List<Element> =
        parent.getElementsByTagName(name).let { list -> (0 until list.length).map { list.item(it) as Element } }

    private val english = words("values")
    private val spanish = words("values-es")

    private fun placeholders(words: String) = Regex("%(?:\\d+\\$)?[-+ 0,(#]*\\d*(?:\\.\\d+)?[a-zA-Z%]").findAll(words).map { it.value }.filter { it != "%%" }.sorted().toList()

    @Test
    fun every_string_stands_in_both_languages_in_files_of_one_name() {
        assertTrue("only ${english.size} strings were found", english.size > 100)
        // Spanish has a third kind of plural, for millions; nothing else may differ.
        assertEquals(emptySet<String>(), english.keys - spanish.keys)
        assertEquals(emptySet<String>(), spanish.keys.filterNot { it.endsWith("#many") }.toSet() - english.keys)
        for ((name, words) in english) assertEquals(name, words.second, spanish.getValue(name).second)
    }

    @Test
    fun every_plural_has_what_its_language_asks_for() {
        val names = { words: Map<String, *> -> words.keys.filter { '#' in it }.map { it.substringBefore('#') }.toSet() }
        for (name in names(english)) for (quantity in listOf("one", "other")) {
            assertTrue("$name#$quantity", "$name#$quantity" in english && "$name#$quantity" in spanish)
        }
        for (name in names(spanish)) assertTrue("$name#many", "$name#many" in spanish)
    }

    @Test
    fun placeholders_are_the_same_in_both_and_numbered_where_there_are_two() {
        for ((name, words) in spanish) {
            val own = english[name] ?: english.getValue(name.substringBefore('#') + "#other")
            val one = placeholders(own.first)
            assertEquals("$name: ${own.first} / ${words.first}", one, placeholders(words.first))
            if (one.size > 1) assertTrue("$name is not numbered", one.all { '$' in it })
        }
    }

    @Test
    fun every_string_is_used() {
        val main = File(System.getProperty("gritbook.root"), "android-shell/src/main")
        val sources = main.walk().filter { it.extension == "kt" || it.extension == "xml" }.joinToString("\n") { it.readText() }
        val unused = english.keys.map { it.substringBefore('#') }.toSet().filterNot { Regex("(R\\.(string|plurals)\\.|@string/)$it\\b").containsMatchIn(sources) }
        assertEquals(emptyList<String>(), unused)
    }

    @Test
    fun words_are_plain() {
        for ((language, all) in listOf("en" to english, "es" to spanish)) for ((name, words) in all) {
            val text = words.first
            assertTrue("$language $name is empty", text.isNotBlank())
            assertTrue("$language $name shouts: $text", '!' !in text && '¡' !in text)
            assertTrue("$language $name has a doubled or an outer blank: $text", text == text.trim() && "  " !in text)
            assertTrue("$language $name has three dots: $text", "..." !in text)
            if (language == "es") assertTrue("$name opens no question: $text", ('?' in text) == ('¿' in text))
        }
    }

    @Test
    fun spanish_is_not_english_left_over() {
        // These are the same in both languages.
        val same = setOf("app_name", "strip_bar", "photo_grain", "thumb_short", "thumb_grade", "part_o_ring", "pump_o_ring", "settings_metric", "settings_inch")
        val left = spanish.filter { (name, words) -> english[name]?.first == words.first && words.first.any(Char::isLetter) && name !in same && words.first.replace(Regex("%\\d?\\$?[a-z.0-9]*"), "").count(Char::isLetter) > 3 }
        assertEquals(emptyMap<String, Pair<String, String>>(), left)
    }

    @Test
    fun one_spanish_word_for_one_thing() {
        // The glossary at the top of the Spanish words.
        val banned = mapOf(
            "culata" to "caja de agua", "junta tórica" to "O-ring", "perno" to "tornillo", "hormigon" to "concreto", "hormigón" to "concreto", "camisa" to "cilindro",
            "acoplamiento" to "acople", "colada" to "colado", "vertido" to "colado",
        )
        for ((name, words) in spanish) for ((word, instead) in banned) {
            assertTrue("$name says \"$word\", not \"$instead\": ${words.first}", !Regex("(?i)\\b$word(s|es)?\\b").containsMatchIn(words.first))
        }
    }
}
