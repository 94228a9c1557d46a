package gritbook.shell

import java.io.File
import java.security.MessageDigest

/** The project's own rendered photos, with known truth. */
object Photos {
    private val root = File(System.getProperty("gritbook.root")!!)

    fun demo(name: String) = File(root, "fixtures/photos/demo_$name.jpg").also { check(it.isFile) { "$it is missing" } }

    fun bad(name: String) = File(root, "fixtures/photos/bad/$name").also { check(it.isFile) { "$it is missing" } }

    /** Of a wear surface. */
    fun face(name: String) = File(root, "fixtures/faces/$name.jpg").also { check(it.isFile) { "$it is missing" } }

    fun sha256(file: File) = MessageDigest.getInstance("SHA-256").digest(file.readBytes()).joinToString("") { "%02x".format(it) }
}
